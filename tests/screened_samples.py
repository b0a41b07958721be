"""The sample lots, each screened once for all processes of a run of the tests."""

import os
import pickle
from functools import cache
from pathlib import Path

from pipelines.deliverables.findings.lot import Findings
from pipelines.lot import screen_lot

SAMPLES = Path(__file__).parents[1] / "sample_data"
LOTS = sorted(path.stem for path in SAMPLES.glob("lot_*.toml"))


@cache
def screened(name: str) -> Findings:
    """What `screen_lot` finds on a sample site as it is."""
    held = Path(os.environ["LOTSHED_SCREENED"]) / f"{name}.pickle"
    if held.exists():
        found: Findings = pickle.loads(held.read_bytes())
        return found
    found = screen_lot(SAMPLES / f"{name}.toml")
    whole = held.with_suffix(f".{os.getpid()}")
    whole.write_bytes(pickle.dumps(found, pickle.HIGHEST_PROTOCOL))
    whole.replace(held)
    return found
