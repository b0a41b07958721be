"""What people write is shown as text wherever it is shown: nothing of it runs, turns, hides or is obeyed."""

import csv
import json
import re
import sqlite3
import unicodedata
from pathlib import Path

import pytest
from click.testing import CliRunner
from hostile_sites import LAYERS, layer_frame, write_base
from hostile_values import HOSTILE_TEXTS
from many import result_faults
from pypdf import PdfReader

from cli import streams
from cli.main import app
from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.files.text_file import summary_text
from terrain.shown_text import shown

MARK = "Zq7"
MARKUP = f"{MARK}<script>alert(1)</script><img src=x onerror=alert(2)>&lt;{{{{ 7*7 }}}}"
TYPESET = f'{MARK}#image("/etc/passwd") #sys.version $x^2$ *bold* `raw` @nobody <label> = Head \\u{{41}} // gone'
OBEYED = f"=1+1{MARK}\x1b[31mred\x1b]0;title\x07\x9b2J\u202eright\u2066to\u200fleft\r\nnext\x7f"
LONG = f"@{MARK}" + "long " * 2000
SPOILT = {"markup": MARKUP + TYPESET, "obeyed": OBEYED, "long": LONG}
pytestmark = pytest.mark.usefixtures("kept_in_file")


def spoilt_site(folder: Path, text: str) -> Path:
    """A lot in whose every field that is free stands one text."""
    write_base(folder)
    says = [
        'name = "{}"'.format(json.dumps(text)[1:-1].replace("\x7f", "\\u007f")),
        '[elevation]\nfile = "ground.tif"\nunit = "m"\nrmse = "2 cm"\ngrounds = 1',
        '[rain]\ndepth = "3 in"\nduration = "60 min"',
    ]
    for name in (
        "parcel",
        "roofs",
        "hardscape",
        "barriers",
        "keep_out",
        "utilities",
        "right_of_way",
        "outfalls",
        "complaints",
        "downspouts",
    ):
        rows = [dict(row) for row in LAYERS[name]]
        free = [key for key in ("name", "lot", "address", "part", "note", "what", "date") if name != "downspouts"]
        free += ["kind"] if name not in ("outfalls", "downspouts") else []
        for row in rows:
            row.update({key: text.replace("\x00", "") for key in free})
        layer_frame(name, rows).to_file(folder / f"{name}.gpkg", engine="pyogrio")
        says.append(f'[{name}]\nfile = "{name}.gpkg"')
    cell = '"' + text.replace('"', '""').replace("\r\n", " ") + '"'
    (folder / "prices.csv").write_text(f"item,unit,low,likely,high\n{cell},each,1,2,3\nsod,ft2,0.5,0.9,1.6\n")
    says.append('[prices]\nfile = "prices.csv"')
    site = folder / "site.toml"
    site.write_text("\n".join(says) + "\n", encoding="utf-8")
    return site


@pytest.fixture(scope="module", params=list(SPOILT))
def screened(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str, Path]:
    """A text, what the terminal said of it, and the folder of the result."""
    folder = tmp_path_factory.mktemp("spoilt")
    site = spoilt_site(folder, SPOILT[request.param])
    done = CliRunner().invoke(app, ["screen", str(site), "--out", str(folder / "out"), "--also", "geojson", "--full"])
    assert done.exit_code == 0, done.stderr
    return SPOILT[request.param], done.stdout + done.stderr, folder / "out"


def obeyed(text: str) -> set[str]:
    return {each for each in set(text) - {"\n"} if unicodedata.category(each) == "Cc" or each in "\u200f\u202e\u2066"}


def test_the_terminal_obeys_nothing(screened: tuple[str, str, Path]) -> None:
    _, said, _ = screened
    assert MARK in said
    assert not obeyed(said.replace("\r\n", "\n"))


def test_every_file_holds_it_as_text(screened: tuple[str, str, Path]) -> None:
    _, _, out = screened
    files = [path for path in out.iterdir() if path.is_file()]
    assert result_faults("", "", files, out.parent) == []
    name = json.loads((out / "summary.json").read_text(encoding="utf-8"))["name"]
    assert MARK in name


def test_the_page_runs_nothing_of_it(screened: tuple[str, str, Path]) -> None:
    _, _, out = screened
    page = (out / "report.html").read_text(encoding="utf-8")
    assert MARK in page
    assert "<script>alert" not in page
    assert "<img src=x" not in page
    assert not obeyed(page.replace("\t", ""))


def test_paper_sets_it_as_letters(screened: tuple[str, str, Path]) -> None:
    text, _, out = screened
    reader = PdfReader(out / "report.pdf")
    told = re.sub(r"\s|\u200b", "", "".join(page.extract_text() for page in reader.pages))
    assert MARK in told
    assert "root:x:0:0" not in told
    if TYPESET in text:
        assert '#image("/etc/passwd")#sys.version' in told
    assert not obeyed(str(reader.metadata.title if reader.metadata else ""))


def test_the_geopackage_holds_it_fit_to_show(screened: tuple[str, str, Path]) -> None:
    _, _, out = screened
    with sqlite3.connect(out / "lot.gpkg") as connection:
        tables = [name for (name,) in connection.execute("SELECT table_name FROM gpkg_contents")]
        texts = [
            value
            for table in tables
            if table != "layer_styles"
            for row in connection.execute(f'SELECT * FROM "{table}"')
            for value in row
            if isinstance(value, str)
        ]
    assert any(MARK in each for each in texts)
    assert not [each for each in texts if obeyed(each)]


def test_no_cell_of_a_table_is_a_formula(screened: tuple[str, str, Path]) -> None:
    _, _, out = screened
    cells = [
        cell
        for path in out.glob("*.csv")
        for row in csv.reader(path.read_text(encoding="utf-8").splitlines())
        for cell in row
    ]
    assert cells
    assert not [cell for cell in cells if re.match(r"[=+@＝]|-(?![\d.])", cell)]


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_cells_and_documents_hold_any_text(text: str) -> None:
    import pandas as pd

    (_, (cell,)) = csv.reader(csv_text(pd.DataFrame({"x": [text]})).splitlines())
    assert not cell.startswith(("=", "+", "-", "@", "\t"))
    assert not obeyed(cell)
    document = summary_text({"x": text})
    assert json.loads(document)["x"] == text
    assert not obeyed(document)
    assert not obeyed(shown(text))


@pytest.mark.parametrize(
    "arguments",
    [
        ["screen", "no\x1b[31m\u202e.toml", "--out", "x"],
        ["no\x1b[31m\u202e"],
        ["screen", "--no\x1b[31m\u202e"],
        ["storm", "--table", "no\x1b[31m\u202e.csv", "--depth", "2 in", "--duration", "1 h"],
        ["pump", "--curve", "no\x1b[31m\u202e", "--static-lift", "8 ft", "--pipe", "2 in sch 40", "--length", "9 ft"],
        ["step", "no\x1b[31m\u202e"],
        ["step", "low-spots", "--elevation", "no\x1b[31m\u202e.tif", "--out", "x.gpkg"],
        ["start", "no\x1b[31m\u202e.tif", "no\x1b[31m\u202e.gpkg"],
        ["swale", "no\x1b[31m\u202e.toml", "--out", "x"],
    ],
)
def test_no_message_obeys_what_it_names(arguments: list[str]) -> None:
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 2
    assert "[U+001B]" in done.stderr or "\\x1b" in done.stderr
    assert not obeyed(done.stderr)


def test_a_message_of_thousands_of_lines_is_counted(capsys: pytest.CaptureFixture[str]) -> None:
    streams.say("\n".join(["line"] * 5000))
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == streams.MOST_LINES + 1
    assert lines[-1] == f"  and {5000 - streams.MOST_LINES:,} more lines"
