"""What of many like cases the quick suite tries."""

from collections.abc import Iterable
from typing import Any

import pytest


def one_in(every: int, cases: Iterable[Any]) -> list[Any]:
    """Cases as parameters, of which one in so many is tried always and the others in the thorough profile."""
    given = [case if isinstance(case, tuple) else (case,) for case in cases]
    return [pytest.param(*case, marks=pytest.mark.thorough if k % every else ()) for k, case in enumerate(given)]
