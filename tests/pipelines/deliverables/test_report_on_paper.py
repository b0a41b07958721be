"""report.pdf holds the answer, its pages are numbered, its fonts go along."""

import io
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.written import lot_files

LETTER, A4 = (612.0, 792.0), (595.28, 841.89)


def printed(findings: Findings, folder: Path, name: str = "report.pdf") -> bytes:
    path = folder / name
    lot_files(findings, made_on=date(2025, 3, 4))[name](path)
    return path.read_bytes()


def text_of(reader: PdfReader) -> str:
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def test_text_pages_and_hashes(findings: Findings, tmp_path: Path) -> None:
    reader = PdfReader(io.BytesIO(printed(findings, tmp_path)))
    text = text_of(reader)
    assert findings.plan.verdict in text
    for words in ("Crew", "Owner", "Reviewer", "2025-03-04", f"1 of {len(reader.pages)}", "appendix.pdf"):
        assert words in text
    assert "abababababababab" not in text
    assert 3 <= len(reader.pages) <= 6
    appendix = PdfReader(io.BytesIO(printed(findings, tmp_path, "appendix.pdf")))
    assert "abababababababab" in text_of(appendix)


@pytest.mark.parametrize(("units", "size"), [("us", LETTER), ("si", A4)])
def test_paper_follows_the_units(
    units: str, size: tuple[float, float], findings_with: Callable[..., Findings], tmp_path: Path
) -> None:
    reader = PdfReader(io.BytesIO(printed(findings_with(units=units), tmp_path)))
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.5)


def fonts_of(reader: PdfReader) -> list[Any]:
    found: dict[Any, Any] = {}

    def gather(resources: Any) -> None:
        for font in (resources.get("/Font") or {}).values():
            entry = font.get_object()
            for part in entry.get("/DescendantFonts", [entry]):
                found[part.get_object()["/BaseFont"]] = part.get_object()
        for drawn in (resources.get("/XObject") or {}).values():
            inner = drawn.get_object().get("/Resources")
            if inner is not None:
                gather(inner.get_object())

    for page in reader.pages:
        gather(page["/Resources"].get_object())
    return list(found.values())


def test_fonts_are_embedded_and_figures_are_drawings(findings: Findings, tmp_path: Path) -> None:
    reader = PdfReader(io.BytesIO(printed(findings, tmp_path)))
    fonts = fonts_of(reader)
    assert fonts
    for font in fonts:
        descriptor = font["/FontDescriptor"].get_object()
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor)
    # the shaded ground is the only picture; profiles and sections are paths
    pictures = [image for page in reader.pages for image in page.images]
    assert len(pictures) <= 2


def test_two_prints_of_one_day_are_the_same(findings: Findings, tmp_path: Path) -> None:
    assert printed(findings, tmp_path) == printed(findings, tmp_path)


def test_letters_of_other_scripts_are_printed(findings_with: Callable[..., Findings], tmp_path: Path) -> None:
    reader = PdfReader(io.BytesIO(printed(findings_with(name="Участок Ödön №7"), tmp_path)))
    assert "Участок Ödön №7" in text_of(reader)
