"""What the report adds to a lot: the aim is under 3 s for page, sheets, stake-out and GeoJSON together."""

from datetime import date
from pathlib import Path

from pytest_benchmark.fixture import BenchmarkFixture

from pipelines.deliverables.lot.written import lot_files
from pipelines.lot import screen_lot

SAMPLES = Path(__file__).parents[2] / "sample_data"


def test_report_of_a_lot(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    findings = screen_lot(SAMPLES / "lot_11.toml")

    def write() -> None:
        for name, writer in lot_files(findings, made_on=date(2025, 3, 4), geojson=True).items():
            writer(tmp_path / name)

    benchmark.pedantic(write, rounds=5, iterations=1)
    assert (tmp_path / "report.html").stat().st_size < 3_000_000
