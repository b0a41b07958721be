"""The reports of a sample lot and of the sample swales in a real browser; skipped, with the reason, without one."""

import importlib.util
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipelines.deliverables.findings.lot import StormWater
from pipelines.deliverables.lot.written import lot_files

MADE_LOT = Path(__file__).parents[1] / "pipelines" / "deliverables" / "conftest.py"
WRITTEN_LOT = Path(__file__).parents[1] / "pipelines" / "lot" / "conftest.py"
MADE_TOWN = Path(__file__).parents[1] / "pipelines" / "deliverables" / "test_town_handover.py"
TRACING = Path(__file__).with_name("test_trace_in_browser.py")
SAMPLES = Path(__file__).parents[2] / "sample_data"
CHROMIUM = Path("/usr/bin/chromium")
QUIET = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync")  # fmt: skip


@dataclass(frozen=True)
class Handed:
    """A result: its folder, its summary, and its layers."""

    folder: Path
    summary: dict[str, Any]
    findings: Any = None

    @property
    def page(self) -> str:
        return (self.folder / "report.html").as_uri()


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not CHROMIUM.exists():
        pytest.skip(f"{CHROMIUM} is not there: apt-get install chromium")
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(QUIET))
        yield started
        started.close()


@pytest.fixture(scope="session")
def screened(browser: Any) -> Callable[[str, Path], Handed]:
    return screen_sample


def screen_sample(name: str, folder: Path) -> Handed:
    from pipelines.deliverables.lot.handover import write_lot
    from tests.screened_samples import screened as screened_sample

    findings = screened_sample(name)
    write_lot(findings, folder, extra_files=lot_files(findings, made_on=date(2025, 3, 4)))
    return Handed(folder, json.loads((folder / "summary.json").read_text(encoding="utf-8")), findings)


@pytest.fixture(scope="session")
def pumped_lot(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Handed:
    """Lot 11: a patio that is pumped, roofs by gravity."""
    return screen_sample("lot_11", tmp_path_factory.mktemp("lot") / "lot_11")


@pytest.fixture(scope="session")
def drained_lot(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Handed:
    """Lot 1: a patio that drains by gravity."""
    return screen_sample("lot_01", tmp_path_factory.mktemp("lot") / "lot_01")


@pytest.fixture(scope="session")
def swales(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Handed:
    from pipelines.deliverables.swale.handover import write_swales
    from tests.screened_samples import checked

    folder = tmp_path_factory.mktemp("swales") / "swale"
    write_swales(checked("swale"), folder, made_on=date(2025, 3, 4))
    return Handed(folder, json.loads((folder / "summary.json").read_text(encoding="utf-8")))


@pytest.fixture(scope="session")
def made_lot(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the made-up lot of the deliverables' tests, in three storms."""
    module = module_of(MADE_LOT)
    storms = (
        StormWater("2-year", 2.0, 0.05, False, (("low-1", 0.04, 0.0),)),
        StormWater("10-year", 10.0, 0.1, True, (("low-1", 0.1, 0.0),)),
        StormWater("100-year", 100.0, 0.2, False, (("low-1", 0.1, 0.06),)),
    )
    made = module.make_findings(storms=storms)
    path: Path = tmp_path_factory.mktemp("made") / "report.html"
    lot_files(made, made_on=date(2025, 3, 4))["report.html"](path)
    return path


@dataclass
class Watched:
    """A page with what it said and asked for."""

    page: Any
    said: list[str]
    asked: list[str]


@pytest.fixture
def opened(browser: Any) -> Iterator[Any]:
    contexts = []

    def open_page(address: str, *, width: int = 1400, height: int = 900, touch: bool = False) -> Watched:
        context = browser.new_context(viewport={"width": width, "height": height}, has_touch=touch)
        contexts.append(context)
        page = context.new_page()
        watched = Watched(page, [], [])
        page.on("console", lambda message: watched.said.append(message.text))
        # a hint of the browser's that asking a canvas what lies at a tap is slow, no fault
        page.on("console", lambda message: "willReadFrequently" in message.text and watched.said.remove(message.text))
        page.on("pageerror", lambda error: watched.said.append(str(error)))
        page.on("request", lambda request: watched.asked.append(request.url))
        page.goto(address)
        page.wait_for_timeout(100)
        return watched

    yield open_page
    for context in contexts:
        context.close()


def module_of(path: Path) -> Any:
    """A file of tests, for what it makes."""
    specification = importlib.util.spec_from_file_location(f"{path.parent.name}_{path.stem}_shown", path)
    assert specification is not None
    assert specification.loader is not None
    module = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def bare_lot() -> Callable[[Path], Path]:
    """What writes a small lot of which only ground, parcel and rain are known."""
    lots = module_of(WRITTEN_LOT)
    layers = {"parcel": lots.SMALL_LAYERS["parcel"]}
    more = '[rain]\ndepth = "3 in"\nduration = "60 min"\n'

    def write(folder: Path) -> Path:
        site: Path = lots.write_lot(folder, lots.small_ground(), layers, more=more)
        return site

    return write


@pytest.fixture(scope="session")
def drawn() -> Any:
    """What draws on the page to trace on."""
    return module_of(TRACING)


@pytest.fixture(scope="session")
def town_file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of the made-up town of the deliverables' tests."""
    from pipelines.deliverables.town.page import town_page

    path: Path = tmp_path_factory.mktemp("town") / "town.html"
    path.write_text(town_page(module_of(MADE_TOWN).town(), made_on="2025-03-04"), encoding="utf-8")
    return path.as_uri()
