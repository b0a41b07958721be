"""What of many like cases the quick suite tries."""

import os
from collections.abc import Iterable
from typing import Any

import pytest


def in_full() -> bool:
    """Whether the long profile is asked for."""
    return os.environ.get("LOTSHED_PROFILE") == "thorough"


HEAVY_FIRST = (
    "pipelines/lot/test_sample_lots.py", "gis/test_in_the_gis.py", "browser/test_report_in_browser.py",
    "browser/test_trace_live.py", "pipelines/lot/test_lot_rules.py", "pipelines/steps/test_composed_by_hand.py",
    "pipelines/lot/test_rules_act_on_made_lots.py", "cli/test_screen_bad_input.py", "hostile/test_kills.py",
    "pipelines/lot/test_sheets_on_paper.py", "cli/test_commands_as_a_whole.py", "hostile/test_many_sites.py",
    "pipelines/library/test_jobs_from_memory.py", "pipelines/test_swale_sample.py",
    "pipelines/lot/test_same_lot_twice.py", "pipelines/lot/test_cause.py", "browser/test_trace_in_browser.py",
    "pipelines/lot/test_formats_people_bring.py", "cli/test_screen_command.py", "test_notebooks.py",
    "test_sample_data.py", "hostile/test_machine.py", "pipelines/lot/test_rules_act.py",
    "cli/test_start_from_points.py", "cli/test_town_command.py", "pipelines/lot/test_invariances.py",
    "pipelines/deliverables/test_swale_handover.py", "pipelines/lot/test_made_lots.py", "cli/test_screen_options.py",
    "pipelines/deliverables/test_report_numbers.py", "hostile/test_text.py", "pipelines/lot/test_answer_at_a_glance.py",
    "cli/test_screen_in_any_crs.py", "pipelines/lot/test_outfall_of_a_lot.py", "pipelines/test_swale_remedies.py",
    "pipelines/town/test_street.py", "pipelines/layout/test_route_optimality.py", "cli/test_interrupted_screen.py",
    "pipelines/lot/test_limits_on_random_lots.py", "pipelines/lot/test_level_shots.py",
    "pipelines/deliverables/test_place.py",
)  # fmt: skip
"""Files of tests that take longest, so that no process is left with one at the end; the first screens for others."""


def one_in(every: int, cases: Iterable[Any]) -> list[Any]:
    """Cases as parameters, of which one in so many is tried always and the others in the thorough profile."""
    given = [case if isinstance(case, tuple) else (case,) for case in cases]
    return [pytest.param(*case, marks=pytest.mark.thorough if k % every else ()) for k, case in enumerate(given)]
