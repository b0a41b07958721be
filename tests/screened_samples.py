"""The sample lots, each screened, and the sample swales, checked once for all processes of a run of the tests."""

import os
import pickle
import time
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.findings.swale import SwaleFindings
from pipelines.lot import screen_lot
from pipelines.swale import check_swale
from tests.quick_share import in_full

SAMPLES = Path(__file__).parents[1] / "sample_data"
LOTS = sorted(path.stem for path in SAMPLES.glob("lot_*.toml"))
LIKE_OTHERS = ("lot_02_levels", "lot_04", "lot_06", "lot_07", "lot_07_levels", "lot_13", "lot_14", "lot_15")
"""Lots whose answer is of a kind with another's: what must hold on every lot is tried on them in the long profile."""

STREETS = ("swale", "ember_lane")
EVERY_LOT = [pytest.param(name, marks=pytest.mark.thorough if name in LIKE_OTHERS else ()) for name in LOTS]
"""The lots as parameters of a test."""


@cache
def screened(name: str) -> Findings:
    """What `screen_lot` finds on a sample site as it is; while another process is at it, others are screened."""
    others = [each for each in reversed(LOTS) if in_full() or each not in LIKE_OTHERS]
    found: Findings = _found(name, others)
    return found


@cache
def checked(name: str) -> SwaleFindings:
    """What `check_swale` finds on a sample street as it is."""
    found: SwaleFindings = _found(name, [])
    return found


def _found(name: str, others: Sequence[str]) -> Any:
    while not _held(name).exists():
        free = next((each for each in (name, *others) if _claimed(each)), None)
        if free is None:
            time.sleep(0.1)
        else:
            _look_at(free)
    return pickle.loads(_held(name).read_bytes())


def _look_at(name: str) -> None:
    look: Callable[[Path], Any] = check_swale if name in STREETS else screen_lot
    try:
        found = look(SAMPLES / f"{name}.toml")
    except BaseException:
        _claim(name).unlink()
        raise
    whole = _held(name).with_suffix(".part")
    whole.write_bytes(pickle.dumps(found, pickle.HIGHEST_PROTOCOL))
    whole.replace(_held(name))


def _claimed(name: str) -> bool:
    try:
        _claim(name).touch(exist_ok=False)
    except FileExistsError:
        return False
    return True


def _held(name: str) -> Path:
    return Path(os.environ["LOTSHED_SCREENED"]) / f"{name}.pickle"


def _claim(name: str) -> Path:
    return _held(name).with_suffix(".claim")
