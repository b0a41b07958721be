"""Many broken sites over all commands: a result or one message each; `many.py` runs thousands."""

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hostile_sites import make_site, write_base
from many import Ended, figures, is_bad, run_one

from tests.quick_share import in_full

SEED, COUNT, SHOWN_WHOLE = 7_000_000, 300 if in_full() else 120, 8
"""One site in so many is screened to the end; of the others the inputs are checked."""


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_base(tmp_path_factory.mktemp("base") / "lot")


def told(ended: list[Ended]) -> str:
    return "\n".join(f"{each.seed}: {each.how} {each.wrong} [{each.broken}] {each.said}" for each in ended)


def test_many_broken_sites_end_in_a_result_or_one_message(base: Path) -> None:
    # the most memory is that of the tests before it in this process: `many.py` has one of its own
    ended = [
        replace(run_one(base, SEED + number, dry=number % SHOWN_WHOLE > 0), memory_gb=0.0) for number in range(COUNT)
    ]
    assert not [each for each in ended if is_bad(each)], told([each for each in ended if is_bad(each)])
    found = figures(ended)
    assert found["tried"] == COUNT
    # a generator that breaks nothing, or all, tests nothing
    assert found["results"] > COUNT // 5
    assert found["refusals"] > COUNT // 5
    assert set(found["by_command"]) == {"screen", "swale", "start", "pump", "storm", "step"}


def test_a_seed_makes_the_same_site_twice(base: Path, tmp_path: Path) -> None:
    first, second = (make_site(base, tmp_path / name, SEED + 3) for name in ("a", "b"))
    assert first[1] == second[1]
    assert (tmp_path / "a" / "site.toml").read_bytes() == (tmp_path / "b" / "site.toml").read_bytes()


def test_the_sites_break_every_kind_of_thing(base: Path, tmp_path: Path) -> None:
    kinds = Counter(
        part.split(" ")[0]
        for number in range(120)
        for part in make_site(base, tmp_path / str(number), SEED + 5000 + number)[1]
    )
    assert {"key", "rule", "text", "ground", "layer", "table", "names"} <= set(kinds)


def test_figures_count_what_happened() -> None:
    rows = [
        Ended(1, "result", 0, 1.0, 0.2, "", "screen x", "", ""),
        Ended(2, "refusal", 2, 70.0, 0.2, "", "swale x", "", ""),
        Ended(3, "defect", 1, 1.0, 2.0, "", "pump x", "", ""),
        Ended(4, "result", 0, 1.0, 0.2, "holds nan", "screen x", "", ""),
    ]
    found = figures(rows)
    assert {
        key: found[key]
        for key in ("tried", "results", "refusals", "defects", "with_a_fault", "over_60_s", "over_1_5_gb")
    } == {"tried": 4, "results": 2, "refusals": 1, "defects": 1, "with_a_fault": 1, "over_60_s": 1, "over_1_5_gb": 1}
    assert [is_bad(each) for each in rows] == [False, True, True, True]
    assert json.dumps(found)
