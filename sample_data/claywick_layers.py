"""What stands, lies and runs in Claywick Hills, as layers of vectors."""

import geopandas as gpd
import numpy as np
from claywick_lots import (
    CELL,
    COLUMNS,
    DRIVE_WIDTH,
    EPSG,
    FRONT,
    LOTS,
    NORTH,
    NORTH_SWALE,
    POND_RADII,
    POND_S,
    REAR,
    ROAD_EDGE,
    ROAD_END,
    ROWS,
    SOUTH_SWALE,
    SWALE_T,
    UPPER_HOUSES,
    UPPER_LOTS,
    UPPER_REAR,
    WEST,
    Lot,
    lot,
    to_xy,
)
from shapely import LineString, Point, Polygon, box

CULVERT_HALF = 3.4  # a culvert reaches this far from the middle of its drive


def layers() -> dict[str, gpd.GeoDataFrame]:
    """Every layer by name."""
    made = {
        "parcels": _parcels(),
        "roofs": _roofs(),
        "hardscape": _hardscape(),
        "barriers": _barriers(),
        "keep_out": _keep_out(),
        "utilities": _utilities(),
        "right_of_way": _right_of_way(),
        "downspouts": _downspouts(),
        "culverts": _culverts(),
        "culverts_surveyed": _culverts_surveyed(),
        "outfalls": _outfalls(),
        "complaints": _complaints(),
        "swales": _swales(),
        "soils": _soils(),
    }
    return {name: gpd.GeoDataFrame(rows, geometry="geometry", crs=EPSG) for name, rows in made.items()}


def outfall_at(number: int) -> tuple[float, float, str] | None:
    """Street coordinates and kind of the outfall given for a lot, None where none is given."""
    if number == 12:
        return None
    each = lot(number)
    if number == 5:
        return each.middle - 10.4, 12.8, "daylight"
    if number == 16:
        return 270.2, -7.5, "pond"
    u = {4: 12.6, 8: -8.0, 11: 6.0, 9: 2.0, 13: -4.0, 15: -8.0}.get(number, 5.0)
    return each.middle + u, each.side * SWALE_T, "swale"


def _parcels():
    rows = []
    for each in LOTS:
        corners = _quad(each.west, each.west + each.width, each.side * FRONT, each.side * REAR)
        rows.append({"lot": each.number, "address": _address(each), "geometry": corners})
    for number, west, east in UPPER_LOTS:
        shape = _quad(west, east, REAR, UPPER_REAR)
        rows.append({"lot": number, "address": f"{2 * (number - 16)} Upper Sedge Way", "geometry": shape})
    return rows


def _address(each: Lot) -> str:
    place = round((each.west - 18) / each.width)
    return f"{101 + 2 * place if each.side > 0 else 102 + 2 * place} Wetherclay Lane"


# lots whose house somebody measured: from its walls a crew is given ties
MEASURED = (1,)


def _roofs():
    rows = []
    for each in LOTS:
        u0, u1, v0, v1 = each.house
        walls = _on(each, u0, u1, v0, v1)
        rows.append({
            "lot": each.number, "part": "house", "open_below": False, "foundation": each.foundation,
            "floor_m": round(each.height(each.pad + each.floor), 2), "built": each.built,
            "outline": "walls" if each.number in MEASURED else "eaves", "geometry": walls,
        })
    rows.append(_part(7, "carport", 6.9, 11.1, 16.0, 21.0))
    rows.append(_part(3, "porch", -4.0, 1.0, 15.0, 17.0))
    rows.append(_part(6, "deck", -6.0, 2.0, 26.0, 29.5))
    for number, (s0, s1, t0, t1) in UPPER_HOUSES:
        rows.append({
            "lot": number, "part": "house", "open_below": False, "foundation": "crawl", "floor_m": None,
            "built": 1999, "geometry": _quad(s0, s1, t0, t1),
        })
    return rows


def _part(number: int, part: str, *rectangle: float):
    return {
        "lot": number, "part": part, "open_below": True, "foundation": None, "floor_m": None, "built": None,
        "geometry": _on(lot(number), *rectangle),
    }


def _hardscape():
    edge = np.arange(-20.0, ROAD_END + 1.0, 4.0)
    ring = [(s, ROAD_EDGE) for s in edge] + [(s, -ROAD_EDGE) for s in edge[::-1]]
    rows = [{"lot": 0, "kind": "road", "protect": False, "geometry": _polygon(ring).intersection(_extent())}]
    for each in LOTS:
        half = DRIVE_WIDTH / 2
        drive = _on(each, each.drive - half, each.drive + half, ROAD_EDGE, 19.0)
        walk = _on(each, -1.0, each.drive - half, 14.0, 15.2)
        rows.append({"lot": each.number, "kind": "drive", "protect": False, "geometry": drive})
        rows.append({"lot": each.number, "kind": "walk", "protect": False, "geometry": walk})
        if each.patio:
            rows.append({"lot": each.number, "kind": "patio", "protect": True, "geometry": _on(each, *each.patio)})
    return rows


def _barriers():
    seven, three = lot(7), lot(3)
    fence = _path(seven, [(-13.5, 34.0), (13.5, 34.0), (13.5, 24.0)])
    wall = _path(three, [(-8.0, 36.0), (2.0, 36.0)])
    return [
        {"lot": 7, "kind": "fence with kickboards", "height_m": 0.25, "geometry": fence},
        {"lot": 3, "kind": "garden wall", "height_m": 0.45, "geometry": wall},
    ]


def _keep_out():
    def row(number: int, kind: str, setback: float, crossing: str, shape, note: str, trunk: float | None = None):
        return {
            "lot": number, "kind": kind, "setback_m": setback, "crossing": crossing, "trunk_in": trunk, "note": note,
            "geometry": shape,
        }

    four = lot(4)
    rows = [
        row(4, "septic", 3.0, "never", _on(four, -12.0, 3.0, 10.5, 13.5), "field of three lines, laid 1969"),
        row(4, "well", 3.0, "never", _disc(four, -12.2, 24.0, 0.3), "kept for the garden"),
        row(7, "easement", 0.0, "careful", _on(lot(7), -14.0, 14.0, 48.5, REAR), "rear drainage easement"),
        row(6, "easement", 0.0, "careful", _on(lot(6), -14.0, 14.0, 48.5, REAR), "rear drainage easement"),
    ]
    for number, u, v, inches in (
        (1, -11.0, 36.0, 10), (2, 8.0, 40.0, 14), (3, -11.0, 13.0, 12), (5, 8.0, 33.0, 8), (6, -10.0, 41.0, 18),
        (9, 9.0, 38.0, 12), (11, -12.0, 13.0, 10), (14, -10.5, 38.0, 16), (15, -11.0, 36.0, 9), (16, 10.0, 36.0, 11),
    ):
        # practice keeps a foot away for each inch of trunk
        disc = _disc(lot(number), u, v, inches * 0.0254 / 2)
        rows.append(row(number, "tree", round(inches * 0.3048, 2), "careful", disc, "", float(inches)))
    return rows


def _utilities():
    rows = []
    along = np.arange(-20.0, 246.0, 4.0)
    for kind, t, depth in (("gas", 8.9, 1.00), ("water", -8.9, 1.05), ("power", 3.4, 0.75), ("sewer", 0.0, 2.40)):
        main = LineString(np.column_stack(to_xy(along, np.full_like(along, t)))).intersection(_extent())
        rows.append({"lot": 0, "kind": kind, "crossing": "careful", "depth_m": depth, "geometry": main})
    for each in LOTS:
        for kind, main_t, depth, u_street, u_house in (
            ("gas", 8.9, 0.45, 6.3, 5.0), ("water", -8.9, 0.90, -3.0, -3.0),
            ("power", 3.4, 0.75, -10.0, -9.0), ("sewer", 0.0, 1.80, 1.5, 1.5),
        ):
            if (each.number, kind) == (4, "sewer"):
                continue  # it has a septic field
            if each.number == 4 and kind in ("gas", "water"):
                # both come in beside the drive, across the only way that the septic field leaves open
                u_street, u_house = (13.0, 5.0) if kind == "gas" else (12.0, 5.0)
                depth = 1.05
            start = (u_street, each.side * main_t)
            turn = (u_street, 10.3) if u_street != u_house else (u_house, 13.0)
            end = (u_house, 18.0 if kind in ("gas", "power") else 17.0)
            line = _path(each, [start, turn, end])
            rows.append({"lot": each.number, "kind": kind, "crossing": "careful", "depth_m": depth, "geometry": line})
    return rows


def _right_of_way():
    stations = sorted({-20.0, *np.arange(-12.0, 18.0, 4.0), *(each.west for each in LOTS), 242.0})
    ring = [(s, FRONT) for s in stations] + [(s, -FRONT) for s in stations[::-1]]
    tract = [(242.0, REAR), (242.0, FRONT), (242.0, -FRONT), (242.0, -REAR), (338.0, -REAR), (338.0, REAR)]
    rows = [("street", "Wetherclay Lane", ring), ("drainage tract", "Claywick pond", tract)]
    return [
        {"kind": kind, "name": name, "geometry": _polygon(shape).intersection(_extent())} for kind, name, shape in rows
    ]


def _downspouts():
    rows = []
    for each in LOTS:
        u0, u1, v0, v1 = each.house
        places = [(u0 - 0.3, v0 + 0.2), (u1 + 0.3, v0 + 0.2), (u0 - 0.3, v1 - 0.2), (u1 + 0.3, v1 - 0.2)]
        if each.number == 11:  # all three stand above the swale
            places = [(u0 - 0.3, v0 + 0.2), (u1 + 0.3, v0 + 0.2), (u1 + 0.3, v0 + 5.0)]
        for u, v in places:
            rows.append({"lot": each.number, "geometry": Point(*each.xy(u, v))})
    for number, (s0, s1, t0, _) in UPPER_HOUSES:
        rows += [{"lot": number, "geometry": Point(*to_xy(s, t0 - 0.3))} for s in (s0 + 0.5, s1 - 0.5)]
    return rows


def _culverts():
    rows = []
    for each in LOTS:
        if each.culvert is None or not each.culvert_listed:
            continue
        s = each.middle + each.drive
        ends = np.array([s - CULVERT_HALF, s + CULVERT_HALF])
        line = LineString(np.column_stack(to_xy(ends, each.side * SWALE_T)))
        up, down = each.culvert_shot or (None, None)
        rows.append({
            "lot": each.number, "diameter_in": each.culvert, "material": "corrugated", "invert_up_m": up,
            "invert_down_m": down, "geometry": line,
        })
    return rows


def _culverts_surveyed():
    """Culverts of the north swale as a crew measured them: their inverts lie on the swale's true bottom."""
    s, _, bottom = np.array(NORTH_SWALE).T
    rows = []
    for row in _culverts():
        if lot(row["lot"]).side != 1:
            continue
        at = lot(row["lot"]).middle + lot(row["lot"]).drive + np.array([-CULVERT_HALF, CULVERT_HALF])
        up, down = (round(float(each), 3) for each in np.interp(at, s, bottom))
        rows.append(row | {"invert_up_m": up, "invert_down_m": down})
    return rows


def _outfalls():
    rows = []
    for each in LOTS:
        place = outfall_at(each.number)
        if place is not None:
            s, t, kind = place
            rows.append({"lot": each.number, "kind": kind, "geometry": Point(*to_xy(s, t))})
    return rows


COMPLAINTS = (
    (1, -2.0, 29.0, "patio under water after each storm", "2024-04-18", 2.0, 6.0),
    (2, -2.0, 29.5, "water runs in from the lot behind and stands at the back door", "2024-04-18", 2.5, 9.0),
    (3, -2.0, 28.5, "damp wall in the basement beside the patio", "2024-03-02", 1.5, 8.0),
    (4, -2.0, 29.0, "patio and crawl space wet", "2024-04-18", 2.0, 10.0),
    (5, -2.0, 29.0, "patio stands under water for two days", "2024-04-18", 2.0, 40.0),
    (6, 4.0, 38.0, "lawn never dries, also without rain", "2023-09-09", None, None),
    (7, -2.0, 29.0, "water backs up along the fence onto the patio", "2024-05-27", 1.5, 5.0),
    (8, -2.0, 29.0, "thin sheet of water on the patio for days", "2024-04-18", 1.0, 30.0),
    (9, -2.0, 29.0, "patio floods and the ditch in front stays full", "2024-04-18", 2.0, 12.0),
    (10, -9.3, 26.0, "gutter runs over at the back corner", "2024-05-27", None, None),
    (11, 0.0, 37.0, "sunk patio fills like a tub", "2024-04-18", 3.0, 40.0),
    (12, -2.0, 29.0, "patio floods", "2024-04-18", 2.0, 5.0),
    (13, -2.0, 29.0, "patio floods, mosquitoes in the ditch", "2024-06-11", 2.0, 8.0),
    (14, 6.0, 27.5, "water stands at the basement corner", "2024-04-18", 2.0, 8.0),
    (15, -2.0, 29.0, "wet crawl space", "2024-02-12", 1.5, 6.0),
    (16, -2.0, 29.0, "patio floods", "2024-04-18", 1.5, 5.0),
)


def _complaints():
    return [
        {"lot": n, "what": what, "date": date, "depth_in": depth, "hours": hours, "geometry": Point(*lot(n).xy(u, v))}
        for n, u, v, what, date, depth, hours in COMPLAINTS
    ]


def _swales():
    """Swales as somebody drew them, downstream, a foot or so off the bottom."""
    rows = []
    for name, knots, off in (("north swale", NORTH_SWALE, 0.3), ("south swale", SOUTH_SWALE, -0.25)):
        side = np.sign(knots[0][1])
        shore = POND_S - POND_RADII[0] * np.sqrt(1.0 - (SWALE_T / POND_RADII[1]) ** 2)
        s = np.append(np.arange(4.0, shore - 8.0, 6.0), shore - 5.5)  # short of the pond's own bank
        t = side * SWALE_T + off * np.sin(s / 17.0)
        rows.append({"name": name, "geometry": LineString(np.column_stack(to_xy(s, t)))})
    return rows


def _soils():
    """Clay on the hill and along the street, heavier clay in the south, a lens of loam under lots 9 and 10."""
    north = [(s, 12.0) for s in range(-40, 381, 20)]
    hill = [*north, (380.0, 160.0), (-40.0, 160.0)]
    lens = [(10.0, -14.0), (74.0, -14.0), (74.0, -60.0), (10.0, -60.0)]
    clay = [(s, t) for s, t in north] + [(380.0, -120.0), (-40.0, -120.0)]
    hill_shape, lens_shape = (_polygon(ring).intersection(_extent()) for ring in (hill, lens))
    low = _polygon(clay).intersection(_extent()).difference(lens_shape)
    return [
        {"group": "C", "name": "Claywick clay loam", "geometry": hill_shape},
        {"group": "D", "name": "Sedge clay", "geometry": low},
        {"group": "B", "name": "Brickyard loam", "geometry": lens_shape},
    ]


def _extent():
    return box(WEST, NORTH - ROWS * CELL, WEST + COLUMNS * CELL, NORTH)


def _quad(s0: float, s1: float, t0: float, t1: float) -> Polygon:
    return _polygon([(s0, t0), (s1, t0), (s1, t1), (s0, t1)])


def _polygon(ring) -> Polygon:
    s, t = np.array(ring, dtype=float).T
    shape = Polygon(np.column_stack(to_xy(s, t)))
    return shape if shape.exterior.is_ccw else shape.reverse()


def _on(each: Lot, u0: float, u1: float, v0: float, v1: float) -> Polygon:
    return _quad(each.middle + u0, each.middle + u1, each.side * v0, each.side * v1)


def _path(each: Lot, places) -> LineString:
    u, v = np.array(places, dtype=float).T
    return LineString(np.column_stack(each.xy(u, v)))


def _disc(each: Lot, u: float, v: float, radius: float) -> Polygon:
    return Point(*each.xy(u, v)).buffer(radius, quad_segs=4)
