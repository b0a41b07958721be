"""A command run in this process, and the made-up lot of the deliverables' tests."""

import importlib.util
import sys
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from cli.main import app
from pipelines.deliverables.findings.lot import Findings

MADE_LOT = Path(__file__).parents[1] / "pipelines" / "deliverables" / "conftest.py"
WRITTEN_LOT = Path(__file__).parents[1] / "pipelines" / "lot" / "conftest.py"


@pytest.fixture
def run() -> Callable[..., Result]:
    def invoke(*arguments: str | Path) -> Result:
        return CliRunner().invoke(app, [str(argument) for argument in arguments], prog_name="lotshed")

    return invoke


@pytest.fixture
def findings() -> Findings:
    made: Findings = _module(MADE_LOT).make_findings()
    return made


@pytest.fixture(scope="session")
def write_small_lot() -> Callable[..., Path]:
    """What writes a lot that takes a second to screen, as files, and gives its site file."""
    write: Callable[..., Path] = _module(WRITTEN_LOT).write_small_lot
    return write


@pytest.fixture
def lot_that_finds(monkeypatch: pytest.MonkeyPatch) -> Callable[[Any], None]:
    """Let the main job give, or raise, what a test wants."""

    def put(outcome: Any) -> None:
        def screen_lot(site: Path, *, progress: Any, self_check: bool, grounds: int | None = None) -> Any:
            progress("reading", 0.1)
            progress("compiling, first run only", None)
            if isinstance(outcome, BaseException):
                raise outcome
            return outcome

        job = types.ModuleType("pipelines.lot")
        job.screen_lot = screen_lot  # type: ignore[attr-defined]
        inputs = types.ModuleType("pipelines.lot_inputs")
        inputs.check_site = lambda site: ("us", (f"plan for {site}",))  # type: ignore[attr-defined]
        monkeypatch.setitem(sys.modules, "pipelines.lot", job)
        monkeypatch.setitem(sys.modules, "pipelines.lot_inputs", inputs)

    return put


def _module(path: Path) -> Any:
    specification = importlib.util.spec_from_file_location(f"made_for_{path.parent.name}", path)
    assert specification is not None
    assert specification.loader is not None
    module = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(module)
    return module
