"""Collects what benchmarks measured and prints it as one table."""

import platform

import pytest

_rows = pytest.StashKey[list[tuple[str, str, str, float, float, str]]]()


@pytest.fixture
def report(request):
    """Take a row of the table: ground, work, program, seconds, cells, remark."""

    def take(ground, work, program, seconds, cells, remark=""):
        request.config.stash.setdefault(_rows, []).append((ground, work, program, seconds, cells, remark))

    return take


def pytest_terminal_summary(terminalreporter, config):
    """Each program's time a cell, and how many times ours it takes."""
    rows = config.stash.get(_rows, [])
    if not rows:
        return
    ours = {(ground, work): seconds for ground, work, program, seconds, _, _ in rows if program == "lotshed"}
    terminalreporter.section(f"flow over ground, {platform.processor() or platform.machine()}, float64, best round")
    heads = f"{'ground':24}{'work':14}{'program':10}{'ms':>10}{'ns a cell':>11}{'times':>8}"
    terminalreporter.write_line(f"{heads}  remark")
    for ground, work, program, seconds, cells, remark in rows:
        times = seconds / ours.get((ground, work), seconds)
        terminalreporter.write_line(
            f"{ground:24}{work:14}{program:10}{1e3 * seconds:10.1f}{1e9 * seconds / cells:11.1f}{times:8.1f}  {remark}"
        )
