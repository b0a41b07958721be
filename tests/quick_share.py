"""What of many like cases the quick suite tries."""

import os
from collections.abc import Iterable
from typing import Any

import pytest


def in_full() -> bool:
    """Whether the long profile is asked for."""
    return os.environ.get("LOTSHED_PROFILE") == "thorough"


HEAVY_FIRST = (
    "pipelines/lot/test_sample_lots.py", "test_sample_data.py", "browser/test_report_in_browser.py",
    "gis/test_in_the_gis.py", "pipelines/lot/test_lot_rules.py", "cli/test_commands_as_a_whole.py",
    "pipelines/steps/test_composed_by_hand.py", "browser/test_trace_in_browser.py", "browser/test_trace_live.py",
    "pipelines/lot/test_rules_act_on_made_lots.py", "pipelines/lot/test_same_lot_twice.py",
    "pipelines/deliverables/test_report_numbers.py", "pipelines/deliverables/test_place.py",
    "pipelines/lot/test_sheets_on_paper.py", "pipelines/lot/test_rules_act.py",
    "pipelines/lot/test_formats_people_bring.py", "pipelines/test_swale_sample.py", "hostile/test_many_sites.py",
    "pipelines/lot/test_limits_on_random_lots.py", "test_notebooks.py", "hostile/test_kills.py",
    "pipelines/test_swale_rules_act.py", "pipelines/lot/test_answer_at_a_glance.py",
    "pipelines/library/test_jobs_from_memory.py", "pipelines/lot/test_cause.py",
    "pipelines/lot/test_invariances.py", "cli/test_screen_options.py", "cli/test_town_command.py",
)  # fmt: skip
"""Files of tests that take longest, so that no process is left with one at the end; the first screens for others."""


def one_in(every: int, cases: Iterable[Any]) -> list[Any]:
    """Cases as parameters, of which one in so many is tried always and the others in the thorough profile."""
    given = [case if isinstance(case, tuple) else (case,) for case in cases]
    return [pytest.param(*case, marks=pytest.mark.thorough if k % every else ()) for k, case in enumerate(given)]
