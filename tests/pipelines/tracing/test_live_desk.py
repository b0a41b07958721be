"""The live page's worker: the newest drawing wins, a fault is told, and the site's own file is left alone."""

import json
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipelines.deliverables.errors import HandoverError
from pipelines.inputs.errors import LayerError, SiteFileError
from pipelines.inputs.traced.traced_file import read_traced
from pipelines.tracing.live import desk as desk_module
from pipelines.tracing.live.desk import FIRST_GROUNDS, LiveDesk, live_site

PATIENCE = 20.0


def drawing(built: int) -> str:
    return json.dumps({"type": "FeatureCollection", "features": [], "answers": {"built": built}})


class Screening:
    """Stands in for the job: says what it was asked, and goes on when it is let."""

    def __init__(self, traced: Path) -> None:
        self.traced, self.asked, self.ended = traced, [], []
        self.begun, self.go_on, self.all_done = threading.Event(), threading.Event(), threading.Event()

    def __call__(
        self, site: Path, *, progress: Callable[[str, float | None], None], grounds: int | None, traced: Path | None,
        chosen_alone: bool,
    ) -> Any:
        assert chosen_alone == (grounds is not None)
        built = read_traced(traced or self.traced).answers["built"]
        self.asked.append((built, grounds))
        progress("one stage", 0.1)
        self.begun.set()
        assert self.go_on.wait(PATIENCE)
        if built == 1999:
            self.all_done.set()
            raise ValueError("no such house")
        progress("another", 0.9)
        self.ended.append((built, grounds))
        if grounds is None:
            self.all_done.set()
        return built


@pytest.fixture
def screening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Screening:
    fake = Screening(tmp_path / "traced.geojson")
    monkeypatch.setattr(desk_module, "screen_lot", fake)
    monkeypatch.setattr(desk_module, "shown_answer", lambda built: {"text": str(built)})
    return fake


def test_the_newest_drawing_ends_what_is_under_way(screening: Screening, tmp_path: Path) -> None:
    desk = LiveDesk(tmp_path / "site.toml", tmp_path / "traced.geojson")
    desk.put(drawing(1961))
    assert screening.begun.wait(PATIENCE)
    desk.put(drawing(1962))
    desk.put(drawing(1963))
    screening.go_on.set()
    assert screening.all_done.wait(PATIENCE)
    # the first is given up at its next stage, the second never begun
    assert screening.asked == [(1961, FIRST_GROUNDS), (1963, FIRST_GROUNDS), (1963, None)]
    assert screening.ended == [(1963, FIRST_GROUNDS), (1963, None)]
    assert desk.told()["drawing"] == 3


def test_a_defect_is_told_and_the_worker_goes_on(screening: Screening, tmp_path: Path) -> None:
    desk = LiveDesk(tmp_path / "site.toml", tmp_path / "traced.geojson")
    screening.go_on.set()
    desk.put(drawing(1999))
    assert screening.all_done.wait(PATIENCE)
    for _ in range(200):
        if desk.told()["fault"]:
            break
        threading.Event().wait(0.02)
    assert desk.told()["fault"] == "A defect of lotshed: ValueError: no such house"
    with pytest.raises(HandoverError, match="not counted on all grounds"):
        desk.hand_over()
    screening.all_done.clear()
    desk.put(drawing(1970))
    assert screening.all_done.wait(PATIENCE)
    assert desk.told()["fault"] is None


def test_what_is_tried_is_screened_and_not_kept(screening: Screening, tmp_path: Path) -> None:
    desk = LiveDesk(tmp_path / "site.toml", tmp_path / "traced.geojson")
    screening.go_on.set()
    desk.put(drawing(1961))
    assert screening.all_done.wait(PATIENCE)
    screening.all_done.clear()
    desk.put(drawing(1962), trial=True)
    assert screening.all_done.wait(PATIENCE)
    told(desk, lambda now: now["answer"]["trial"] and not now["answer"]["provisional"])
    assert screening.ended[-2:] == [(1962, FIRST_GROUNDS), (1962, None)]
    assert read_traced(tmp_path / "traced.geojson").answers == {"built": 1961}
    with pytest.raises(HandoverError, match="neither kept nor undone"):
        desk.hand_over()
    desk.put(drawing(1962))
    told(desk, lambda now: not now["answer"]["trial"] and not now["answer"]["provisional"])
    assert read_traced(tmp_path / "traced.geojson").answers == {"built": 1962}


def told(desk: LiveDesk, holds: Callable[[dict[str, Any]], bool]) -> None:
    for _ in range(500):
        if holds(desk.told()):
            return
        threading.Event().wait(0.02)
    raise AssertionError(desk.told())


def test_a_drawing_at_fault_leaves_the_kept_one(screening: Screening, tmp_path: Path) -> None:
    desk = LiveDesk(tmp_path / "site.toml", tmp_path / "traced.geojson")
    screening.go_on.set()
    desk.put(drawing(1961))
    with pytest.raises(LayerError, match="no GeoJSON"):
        desk.put("[]")
    assert read_traced(tmp_path / "traced.geojson").answers == {"built": 1961}


def test_a_site_file_without_a_drawing_is_left_as_it_is(tmp_path: Path) -> None:
    for name in ("ground.tif", "parcel.gpkg"):
        (tmp_path / name).write_bytes(b"")
    site = tmp_path / "site.toml"
    text = '[elevation]\nfile = "ground.tif"\n\n[parcel]\nfile = "parcel.gpkg"\n'
    site.write_text(text, encoding="utf-8")
    screened, traced = live_site(site)
    assert site.read_text(encoding="utf-8") == text
    assert screened.read_text(encoding="utf-8").startswith(text.rstrip())
    assert read_traced(traced).tables == {}
    # a drawing that is there is kept
    traced.write_text(drawing(1961), encoding="utf-8")
    assert live_site(screened) == (screened, traced)
    assert live_site(site) == (screened, traced)
    assert read_traced(traced).answers == {"built": 1961}
    site.write_text("[elevation", encoding="utf-8")
    with pytest.raises(SiteFileError, match="broken TOML"):
        live_site(site)
