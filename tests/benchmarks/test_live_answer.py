"""How soon the live page's first answer, on ten possible grounds, follows a drawing of a sample lot."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from pipelines.inputs.site_ground import open_site
from pipelines.lot import screen_lot
from pipelines.tracing.live.desk import FIRST_GROUNDS, shown_answer
from pipelines.tracing.site_features import traced_text

SAMPLES = Path(__file__).parents[2] / "sample_data"


@pytest.mark.benchmark(group="live answer")
@pytest.mark.parametrize("number", [1, 3, 5, 11])
def test_first_answer_after_a_change(benchmark: Any, number: int, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(SAMPLES, tmp_path / "site", ignore=shutil.ignore_patterns("pictures", "notebooks")))
    site = folder / f"lot_{number:02d}.toml"
    (folder / "traced.geojson").write_text(traced_text(open_site(site)), encoding="utf-8")
    site.write_text(site.read_text(encoding="utf-8") + '\n[traced]\nfile = "traced.geojson"\n', encoding="utf-8")

    def answer() -> dict[str, Any]:
        return shown_answer(screen_lot(site, grounds=FIRST_GROUNDS))

    found = benchmark.pedantic(answer, rounds=10, warmup_rounds=1)
    assert found["text"]
    benchmark.extra_info["aim"] = "median under 3 s"
