"""Rain above which a low spot spills: ground behind it adds nothing to a peak in a lesser storm."""

import pytest

from pipelines.hydrology.errors import StorageError
from pipelines.hydrology.losses import runoff_of_shares
from pipelines.hydrology.low_spot_ponds import rain_that_fills
from pipelines.hydrology.surfaces import surface_share


def test_rain_that_fills_a_low_spot() -> None:
    ground = [surface_share("lawn, fair", 500.0, "B"), surface_share("roof", 100.0, "B")]
    rain = rain_that_fills(6.0, ground)
    assert rain is not None
    assert runoff_of_shares(rain, ground) * 600.0 == pytest.approx(6.0, rel=1e-4)
    assert rain_that_fills(1e6, ground) is None


def test_a_low_spot_without_volume_is_refused() -> None:
    with pytest.raises(StorageError, match="volume"):
        rain_that_fills(0.0, [surface_share("roof", 10.0, "B")])
