"""Keeps count of the values that these checks take from outside the project.

Every test here that holds a figure printed somewhere else carries the mark::

    @pytest.mark.published(source="TR-55, 2nd ed., 1986", where="Example 2-1", memory=False, worked=True)

``source`` is the work and its edition and stands in README.md; ``where`` is the table, equation, example or page;
``memory`` says that the figure was written down from memory rather than read; ``worked`` says that it is the answer of
a worked example rather than an entry of a table. One collected case is one published value, so tables are parametrised.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class PublishedValue:
    """One figure from outside that a test holds the code against."""

    test: str
    source: str
    where: str
    memory: bool
    worked: bool


_values = pytest.StashKey[list[PublishedValue]]()
_files = pytest.StashKey[set[Path]]()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Note every published value before any is deselected."""
    here = [item for item in items if item.path.parent == HERE]
    config.stash[_files] = {item.path for item in here}
    config.stash[_values] = [
        PublishedValue(item.nodeid, **mark.kwargs) for item in here for mark in item.iter_markers("published")
    ]


@pytest.fixture
def published_values(request: pytest.FixtureRequest) -> list[PublishedValue]:
    """Every published value of this folder; the count means nothing when only part of the folder is run."""
    missing = set(HERE.glob("test_*.py")) - request.config.stash[_files]
    if missing or any("::" in argument for argument in request.config.args):
        pytest.skip("the register is counted over the whole folder: run tests/published")
    return request.config.stash[_values]


@pytest.fixture
def rounds_to() -> Callable[..., bool]:
    """Whether a value agrees with a printed one within half a unit of its last digit, or a share where one is given."""

    def agrees(value: float, printed: str, *, share: float = 0.0) -> bool:
        decimals = len(printed.partition(".")[2])
        return abs(value - float(printed)) <= 0.5 * 10.0**-decimals * (1 + 1e-9) + share * abs(float(printed))

    return agrees
