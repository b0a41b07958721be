"""The live page: answers as one draws, keeps the drawing on disk, and is there for nobody else."""

import http.client
import json
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from pipelines.deliverables.files.text_file import summary_text
from pipelines.deliverables.lot.summary import summary
from pipelines.inputs.traced.traced_file import read_traced
from pipelines.lot import screen_lot
from pipelines.tracing.live.desk import shown_answer

ROOT = Path(__file__).parents[2]
pytest.importorskip("uvicorn", reason="the extra live is not installed")
pytest.importorskip("starlette", reason="the extra live is not installed")
EMPTY = {"type": "FeatureCollection", "replaces": [], "answers": {}, "features": []}


class Served:
    """A live page in a process of its own."""

    def __init__(self, site: Path, *options: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "cli", "trace", str(site), "--live", *options], cwd=ROOT, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip().removeprefix("Open ")
        found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/#(\S{40,})", self.address)
        assert found, self.process.communicate(timeout=20)
        self.port, self.token = int(found[1]), found[2]

    def ask(self, method: str, path: str, body: Any = None, **headers: str | None) -> tuple[int, bytes, Any]:
        given = {"Host": f"127.0.0.1:{self.port}", "X-Lotshed-Token": self.token, "Origin": f"http://127.0.0.1:{self.port}"}
        given |= {name.replace("_", "-"): value for name, value in headers.items() if value is not None}
        for name in [name for name, value in headers.items() if value is None]:
            del given[name.replace("_", "-")]
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.putrequest(method, path, skip_host=True)
        content = b"" if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
        for name, value in (given | {"Content-Length": str(len(content))}).items():
            connection.putheader(name, value)
        connection.endheaders(content)
        answer = connection.getresponse()
        found = answer.status, answer.read(), answer.headers
        connection.close()
        return found

    def end(self) -> tuple[int, str]:
        self.process.send_signal(signal.SIGINT)
        _, said = self.process.communicate(timeout=30)
        return self.process.returncode, said


@pytest.fixture(scope="module")
def site(bare_lot: Callable[[Path], Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    return bare_lot(tmp_path_factory.mktemp("live"))


@pytest.fixture(scope="module")
def served(site: Path) -> Iterator[Served]:
    running = Served(site)
    yield running
    running.process.kill()
    running.process.communicate(timeout=30)


def test_nobody_else_gets_in(served: Served) -> None:
    status, body, headers = served.ask("GET", "/", X_Lotshed_Token=None, Origin=None)
    assert status == 200
    # a page without data
    assert b"Made lot" not in body
    assert "default-src 'none'" in headers["content-security-policy"]
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["access-control-allow-origin"] is None
    assert served.ask("GET", "/answer", Origin=None)[0] == 200
    wrong: tuple[dict[str, str | None], ...] = (
        {"X_Lotshed_Token": None}, {"X_Lotshed_Token": "x" * 43}, {"Host": f"localhost:{served.port}"},
        {"Host": "127.0.0.1"}, {"Host": "elsewhere.example"}, {"Origin": "https://elsewhere.example"},
        {"Origin": "null"}, {"Origin": f"http://localhost:{served.port}"},
    )  # fmt: skip
    for headers_given in wrong:
        for method, path in (("GET", "/answer"), ("GET", "/page"), ("POST", "/drawing")):
            status, body, headers = served.ask(method, path, EMPTY if method == "POST" else None, **headers_given)
            assert status == 403, (headers_given, path)
            assert headers["access-control-allow-origin"] is None
    assert served.ask("POST", "/drawing", EMPTY, Origin=None)[0] == 403
    assert served.ask("OPTIONS", "/drawing", Origin="https://elsewhere.example")[0] == 403
    assert served.ask("GET", "/../site.toml")[0] == 404


def test_a_drawing_at_fault_is_told_and_not_kept(served: Served, site: Path) -> None:
    before = (site.parent / "traced.geojson").read_bytes()
    wrong = {**EMPTY, "features": [{"type": "Feature", "id": 4, "geometry": None, "properties": {"table": "roofs"}}]}
    status, body, _ = served.ask("POST", "/drawing", wrong)
    assert status == 422
    assert "feature 4" in json.loads(body)["fault"]
    assert served.ask("POST", "/drawing", b"{")[0] == 422
    assert served.ask("POST", "/drawing", b" " * 20_000_001)[0] == 413
    assert (site.parent / "traced.geojson").read_bytes() == before


def test_a_page_of_another_origin_cannot_reach_it(opened: Any, served: Served, tmp_path: Path) -> None:
    other = tmp_path / "other.html"
    other.write_text("<!doctype html><title>x</title>", encoding="utf-8")
    page = opened(other.as_uri()).page
    for method in ("GET", "POST"):
        told = page.evaluate(
            """async ([address, method, token]) => { try {
                 const answer = await fetch(address + "answer", {method, headers: {"x-lotshed-token": token}});
                 return await answer.text(); } catch (error) { return "refused"; } }""",
            [f"http://127.0.0.1:{served.port}/", method, served.token],
        )
        assert told == "refused"
    assert served.ask("GET", "/answer")[0] == 200


def test_a_lot_is_drawn_live_and_outlives_the_server(opened: Any, served: Served, site: Path, drawn: Any) -> None:
    watched = opened(served.address, width=1280, height=800)
    page = watched.page
    drawn.until(page, "typeof map === 'object' && typeof state === 'object'")
    drawn.draw_lot(page, page.mouse.click)
    drawn.until(page, "document.getElementById('live-state').textContent.startsWith('On all grounds')", most=90.0)
    # what stands beside the map is what screening the saved site gives
    saved = site.with_name("site-traced.toml")
    findings = screen_lot(saved)
    assert findings.plan.pipe_runs
    assert page.locator("#live-answer").inner_text().strip() == shown_answer(findings)["text"].strip()
    page.locator("#live-hand-over").click()
    drawn.until(page, "document.getElementById('trace-says').textContent.startsWith('Written into')", most=60.0)
    handed = json.loads((site.parent / "site-traced-result" / "summary.json").read_text(encoding="utf-8"))
    assert handed == json.loads(summary_text(summary(findings)))
    # the site's own file is as it was
    assert "traced" not in site.read_text(encoding="utf-8")
    assert [each for each in watched.asked if not each.startswith((f"http://127.0.0.1:{served.port}/", "data:"))] == []
    assert watched.said == []
    shapes = page.evaluate("state.shapes.length")
    page.reload()
    drawn.until(page, f"typeof state === 'object' && state.shapes.length === {shapes}")
    # two quick changes: the last is screened
    page.evaluate("change(next => { next.answers.built = 1961; }); change(next => { next.answers.built = 1962; })")
    drawn.until(page, "document.getElementById('live-state').textContent.startsWith('Provisional')", most=60.0)
    assert read_traced(site.parent / "traced.geojson").answers["built"] == 1962
    served.process.kill()
    served.process.wait()
    again = Served(site.with_name("site-traced.toml"))
    try:
        page = opened(again.address, width=1280).page
        drawn.until(page, f"typeof state === 'object' && state.shapes.length === {shapes}")
        code, said = again.end()
        assert code == 0, said
        assert "Stopped" in said
    finally:
        again.process.kill()


def test_a_pipe_and_a_moved_outfall_are_tried_then_kept_or_undone(
    opened: Any, bare_lot: Callable[[Path], Path], tmp_path: Path, drawn: Any
) -> None:
    site = bare_lot(tmp_path)
    running = Served(site)
    try:
        watched = opened(running.address, width=1280, height=800)
        page = watched.page
        drawn.until(page, "typeof map === 'object' && typeof state === 'object'")
        drawn.draw_lot(page, page.mouse.click)
        traced, saved = site.parent / "traced.geojson", site.with_name("site-traced.toml")
        on_all = "document.getElementById('live-state').textContent.startsWith('{}On all grounds')"
        drawn.until(page, on_all.format(""), most=90.0)
        kept = traced.read_bytes()
        page.locator("#live-pipe").select_option("8 in SDR-35")
        drawn.until(page, on_all.format("Tried, not kept. "), most=90.0)
        # it is held against what was kept, on disk nothing has changed, and nothing half tried is handed over
        compared = page.locator("#live-compared").inner_text()
        assert "8 in SDR-35" in compared
        assert "6 in SDR-35" in compared
        assert traced.read_bytes() == kept
        assert page.locator("#live-hand-over").is_disabled()
        axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
        assert [each["id"] for each in axe.Axe().run(page).response["violations"]] == []
        page.set_viewport_size({"width": 360, "height": 740})
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        page.set_viewport_size({"width": 1280, "height": 800})
        assert running.ask("POST", "/hand-over")[0] == 409
        page.locator("#live-undo").click()
        drawn.until(page, on_all.format(""), most=90.0)
        assert "6 in SDR-35" in " ".join(page.locator("#live-answer").inner_text().split())
        assert page.locator("#live-trial").is_hidden()
        assert page.locator("#live-pipe").input_value() == ""
        page.locator("#live-pipe").select_option("8 in SDR-35")
        drawn.until(page, "!document.getElementById('live-compare').hidden", most=60.0)
        page.locator("#live-keep").click()
        drawn.until(page, on_all.format(""), most=90.0)
        assert read_traced(traced).answers["pipe"] == "8 in SDR-35"
        findings = screen_lot(saved)
        assert {run.pipe_key for run in findings.plan.pipe_runs} == {"8 in SDR-35"}
        assert page.locator("#live-answer").inner_text().strip() == shown_answer(findings)["text"].strip()
        page.locator("#live-hand-over").click()
        drawn.until(page, "document.getElementById('trace-says').textContent.startsWith('Written into')", most=60.0)
        handed = json.loads((site.parent / "site-traced-result" / "summary.json").read_text(encoding="utf-8"))
        assert handed == json.loads(summary_text(summary(findings)))
        # an outfall that is moved is tried too; undone, it is where it was
        kept = traced.read_bytes()
        was = page.evaluate("JSON.stringify(state.shapes)")
        page.evaluate(
            """change(next => { const end = next.shapes.find(each => each.table === "outfalls");
                                end.at = [end.at[0] + 3, end.at[1]]; })"""
        )
        assert "outfall" in page.locator("#live-trial-words").inner_text()
        drawn.until(page, on_all.format("Tried, not kept. "), most=90.0)
        assert traced.read_bytes() == kept
        page.locator("#live-undo").click()
        assert page.evaluate("JSON.stringify(state.shapes)") == was
        assert page.locator("#live-trial").is_hidden()
        # a page that is left while something is tried comes back as it was kept
        page.locator("#live-pipe").select_option("4 in corrugated")
        drawn.until(page, "!document.getElementById('live-trial').hidden")
        page.reload()
        drawn.until(page, "typeof state === 'object' && state.answers.pipe === '8 in SDR-35'")
        assert watched.said == []
    finally:
        running.process.kill()
        running.process.communicate(timeout=30)
