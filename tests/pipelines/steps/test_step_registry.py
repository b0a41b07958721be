import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from geopandas import GeoDataFrame
from pandas import DataFrame
from pydantic import BaseModel

from pipelines.steps.registry import StepError, StepInput, load_step, read_step, step_names
from terrain.raster import Raster
from terrain.reading.surface import Surface

OURS = {
    "ground", "flow-accumulation", "filled-ground", "low-spots", "flow-paths", "sub-catchments", "surfaces", "rain",
    "runoff", "standing-water", "troubles", "siting", "surface-works", "fall-to-spare", "routing", "sizing", "take-off",
    "outfall-check", "report",
}  # fmt: skip


class Choice(BaseModel):
    height: float = 1.0


def _read(function: Callable[..., Any]) -> Any:
    return read_step("made", function, offered_by="elsewhere")


def test_ours_are_offered_and_declare_what_they_take() -> None:
    assert set(step_names()) >= OURS
    step = load_step("sub-catchments")
    assert [(taken.name, taken.required) for taken in step.inputs] == [
        ("elevation", False), ("parcel", False), ("roofs", False), ("barriers", False), ("culverts", False),
        ("site", False), ("low_spots", False),
    ]  # fmt: skip
    assert step.gives is GeoDataFrame
    assert step.parameters is not None
    for name in OURS:
        step = load_step(name)
        assert step.does.endswith(".")
        assert all(taken.about.endswith(".") for taken in step.inputs), "what it takes is said"
        assert all(told.about.endswith(".") and told.kind != "text" for told in step.told), "no number is bare text"


def test_a_signature_is_the_declaration() -> None:
    def lift(elevation: Surface, shifts: DataFrame | None = None, *, parameters: Choice) -> Raster:
        """Lift the ground.

        By much.
        """
        raise NotImplementedError

    step = _read(lift)
    assert step.inputs == (StepInput("elevation", Surface, True), StepInput("shifts", DataFrame, False))
    assert (step.parameters, step.gives, step.does) == (Choice, Raster, "Lift the ground.")


def test_what_is_no_step_is_told_all_at_once() -> None:
    def wrong(elevation: str, out: Surface, *, parameters: int) -> list[int]:
        return []

    with pytest.raises(StepError) as told:
        _read(wrong)
    for fault in ("elevation must be a LotStages", "out stands twice", "pydantic model", "it must return a Raster"):
        assert fault in str(told.value)
    with pytest.raises(StepError, match="no signature"):
        _read(3)  # type: ignore[arg-type]


def test_an_unknown_step_is_answered_with_the_nearest() -> None:
    with pytest.raises(StepError, match=r"there is no step low-spot\. Did you mean low-spots\?"):
        load_step("low-spot")
    with pytest.raises(StepError, match="`lotshed steps` lists them"):
        load_step("zzz")


@pytest.fixture
def offer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str, str], None]:
    """Offer a step by a package's metadata folder on the path, as an installed package would."""
    monkeypatch.syspath_prepend(tmp_path)

    def put(package: str, line: str) -> None:
        folder = tmp_path / f"{package.replace('-', '_')}-1.0.dist-info"
        folder.mkdir()
        (folder / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: 1.0\n")
        (folder / "entry_points.txt").write_text(f"[lotshed.steps]\n{line}\n")

    return put


def test_another_package_can_offer_a_step(offer: Callable[[str, str], None], tmp_path: Path) -> None:
    (tmp_path / "made_elsewhere.py").write_text(
        "from geopandas import GeoDataFrame\n"
        "def grow(shapes: GeoDataFrame) -> GeoDataFrame:\n"
        "    'Grow shapes.'\n"
        "    return shapes\n"
    )
    offer("made-elsewhere", "grow = made_elsewhere:grow")
    step = load_step("grow")
    assert (step.offered_by, step.does) == ("made-elsewhere", "Grow shapes.")
    sys.modules.pop("made_elsewhere")


def test_a_step_that_cannot_be_loaded_names_its_package(offer: Callable[[str, str], None]) -> None:
    offer("made-broken", "broken = made_nowhere:step")
    with pytest.raises(StepError, match="step broken of made-broken cannot be loaded from made_nowhere:step"):
        load_step("broken")


def test_two_packages_that_offer_one_name_are_both_named(offer: Callable[[str, str], None]) -> None:
    offer("made-one", "twice = one:step")
    offer("made-two", "twice = two:step")
    with pytest.raises(StepError, match="step twice is offered by made-one and made-two"):
        load_step("twice")
