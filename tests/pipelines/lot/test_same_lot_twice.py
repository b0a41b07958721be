"""One made ground as several rasters: other cells, another origin, another CRS, another window, and the same answer."""

from collections.abc import Callable
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import Transformer
from shapely import LineString, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.lot.written import answer_text
from pipelines.deliverables.words.say import say
from pipelines.lot import screen_lot
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from tests.quick_share import in_full, one_in

EAST, NORTH, MAP, DEGREES = 500_000.0, 4_400_000.0, "EPSG:32617", "EPSG:4269"
LAYERS: dict[str, list[dict[str, Any]]] = {
    "parcel": [{"geometry": box(130, 60, 170, 112)}],
    "roofs": [{"open_below": False, "geometry": box(140, 68, 160, 78)}],
    "hardscape": [{"kind": "patio", "protect": True, "geometry": box(144, 82, 156, 90)}],
    "right_of_way": [{"kind": "street", "geometry": box(60, 35, 240, 60)}],
    "outfalls": [{"kind": "swale", "geometry": LineString([(60, 41), (240, 41)])}],
}


class Product(NamedTuple):
    """A raster of the ground: cell [m], what its origin is off [m], CRS, window (west, south, east, north) [m]."""

    cell: float
    off: tuple[float, float]
    crs: str
    window: tuple[float, float, float, float]


WHOLE = (0.0, 0.0, 300.0, 300.0)
PRODUCTS = {
    "1 m": Product(1.0, (0.0, 0.0), MAP, WHOLE),
    "origin and window": Product(1.0, (0.43, 0.31), MAP, (20.0, 8.0, 290.0, 280.0)),
    "5 ft": Product(1.524, (0.2, 0.7), MAP, WHOLE),
    "2 m": Product(2.0, (0.0, 0.0), MAP, WHOLE),
    "2 m, other origin": Product(2.0, (0.9, 1.1), MAP, WHOLE),
    "degrees": Product(1.0, (0.0, 0.0), DEGREES, WHOLE),
}
CLIPPED = tuple(PRODUCTS) if in_full() else ("1 m", "2 m, other origin", "degrees")
GIVEN = tuple(PRODUCTS) if in_full() else CLIPPED[1:]


def ground(x: np.ndarray, y: np.ndarray, *, gutter: float) -> np.ndarray:
    """A slope to a swale with a hollow at a patio; a gutter runs `gutter` [m] north of the lot's corner."""
    rng = np.random.default_rng(11)
    z = 100.0 + 0.02 * y
    for _ in range(60):
        k, turn, phase = 2.0 * np.pi / rng.uniform(8.0, 40.0), rng.uniform(0.0, 6.3), rng.uniform(0.0, 6.3)
        z = z + 0.002 * np.cos(k * (x * np.cos(turn) + y * np.sin(turn)) + phase)
    z = z - 0.35 * np.exp(-((x - 150.0) ** 2 + (y - 86.0) ** 2) / 18.0)
    z = z - np.where(np.abs(y - 41.0) < 3.0, 0.7 * (1.0 - np.abs(y - 41.0) / 3.0), 0.0)
    across = np.abs((y - 112.0 - gutter) - 0.5 * (x - 130.0)) / np.sqrt(1.25)
    return np.asarray(z - np.where(across < 4.0, 0.6 * (1.0 - across / 4.0), 0.0))


def write(made_lots: Any, folder: Path, product: Product, *, gutter: float) -> Path:
    site: Path = made_lots.write_lot(folder, np.zeros((4, 4)), LAYERS, more=made_lots.SMALL_MORE, cell=1.0)
    west, south, east, north = product.window
    columns, rows = int((east - west) / product.cell), int((north - south) / product.cell)
    corner = EAST + west + product.off[0], NORTH + north + product.off[1]
    there = Transformer.from_crs(MAP, product.crs, always_xy=True)
    back = Transformer.from_crs(product.crs, MAP, always_xy=True)
    left, top = there.transform(*corner)
    # a degree in metres, near enough: the cells of a product in degrees aren't square on the ground either
    wide, high = (1.0, 1.0) if product.crs == MAP else (111_320.0 * np.cos(np.radians(top)), 111_035.0)
    column, row = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    x, y = back.transform(left + column * product.cell / wide, top - row * product.cell / high)
    transform = Affine(product.cell / wide, 0.0, left, 0.0, -product.cell / high, top)
    with rasterio.open(
        folder / "ground.tif", "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float64",
        crs=product.crs, transform=transform, nodata=-999999.0,
    ) as file:
        file.write(ground(x - EAST, y - NORTH, gutter=gutter), 1)
    return site


Products = dict[str, Findings]


@pytest.fixture(scope="module")
def screened(made_lots, tmp_path_factory) -> Callable[..., Products]:
    @cache
    def run(names: tuple[str, ...], *, gutter: float) -> Products:
        folder = tmp_path_factory.mktemp("products")
        return {
            name: screen_lot(write(made_lots, folder / name.replace(" ", "_"), PRODUCTS[name], gutter=gutter))
            for name in names
        }

    return run


def alike(values: list[float], share: float = 0.15) -> bool:
    middle = float(np.median(values))
    return all(abs(value - middle) <= share * middle for value in values)


def alike_or_told(found: list[Any]) -> bool:
    """Whether of any two whose run-on differs one at least says that it hangs on the cells."""
    return all(
        abs(one.run_on_area - other.run_on_area) <= 0.15 * max(one.run_on_area, other.run_on_area)
        or any(said.code == "hangs_on_cells" for each in (one, other) for said in each.warnings)
        for one, other in combinations(found, 2)
    )


def test_every_product_gives_the_same_answer(screened) -> None:
    found = list(screened(GIVEN, gutter=25.0).values())
    assert min(each.run_on_area for each in found) > 1000.0
    assert alike([each.run_on_area for each in found])
    assert alike([sum(row[2] for row in each.leaving if row[0].startswith("edge")) for each in found])
    assert len({each.plan.parts.cure.state for each in found}) == 1
    assert len({tuple(line.mode for line in each.plan.discharges) for each in found}) == 1


def test_every_product_gives_the_same_price(screened) -> None:
    found = list(screened(GIVEN, gutter=25.0).values())
    assert alike([sum(line.likely or 0.0 for line in each.plan.take_off) for each in found])
    assert len({tuple(part.state for _, part in each.plan.parts.named) for each in found}) == 1


def test_a_gutter_that_clips_a_corner_passes_by_in_every_product(screened) -> None:
    found = list(screened(CLIPPED, gutter=-1.0).values())
    # 1 m over the corner: the street's water comes onto the lot, but not far
    assert alike_or_told(found)
    assert sum(each.passing_area > 2000.0 for each in found) >= len(found) - 1
    for each in found:
        told = "crosses a corner or an edge of the lot and leaves again within 6.0 ft of the line: it passes by"
        assert (each.passing_area > 0.0) == (told in answer_text(each, 100_000))
    assert max(each.run_on_area for each in found) < 400.0
    assert len({each.plan.parts.verdict for each in found}) == 1
    for each in found:
        # the drainage area is told without it, and its balance closes
        assert sum(row.area for row in each.runoff) == pytest.approx(each.studied_area, rel=1e-9)


def run_on(stages: LotStages) -> float:
    lot = stages.situation
    return float(np.count_nonzero(lot.studied & ~lot.on_parcel)) * lot.grid.cell_area


@pytest.mark.parametrize("gutter", one_in(2, [3.0, -2.0, -3.0, -4.0]))
def test_where_run_on_hangs_on_the_cells_a_product_says_so(made_lots, tmp_path, gutter: float) -> None:
    # the farther in the gutter runs, the nearer its water is to staying on the lot
    products = [
        LotStages(open_lot(write(made_lots, tmp_path / f"{number}", product, gutter=gutter)))
        for number, product in enumerate(PRODUCTS.values())
    ]
    for one, other in combinations(products, 2):
        less, more = sorted((run_on(one), run_on(other)))
        if more - less > 0.15 * more:
            assert one.cells is not None or other.cells is not None
        if more > 10.0 * less:
            # as much as the whole answer
            assert (one.cells is not None and one.cells.decides) or (other.cells is not None and other.cells.decides)


def test_an_answer_that_hangs_on_the_cells_says_so_first_and_what_to_do(made_lots, tmp_path) -> None:
    found = screen_lot(write(made_lots, tmp_path, PRODUCTS["2 m, other origin"], gutter=-3.0))
    assert found.plan.verdict.code == "verdict_on_cells"
    (why,) = [said for said in found.warnings if said.code == "hangs_on_cells"]
    assert why["cell"] == 2.0
    told, answer = say(found.plan.verdict, "us"), answer_text(found, 100_000)
    assert "This answer hangs on the raster's 6.6 ft cells: in cells twice as wide run-on is" in told
    assert told.endswith("Before pricing get a finer raster, or levels along the north lot line.")
    # on screen, in whole
    assert told.replace("ft2", "ft²") in answer
    assert "get a finer raster of this place if there is one, or read levels on site along the north lot line" in answer
    assert "hangs on the raster's 2.0 m cells" in summary(found)["verdict"]
