"""Ember Lane, an invented street whose swale carries its storm: ground, layers, tables and site files.

Street coordinates: `s` runs down the centreline, `t` square to it, positive towards the lots, up the slope. Lots use
`u`, from the middle of the lot along the street, and `t`. All in metres.
"""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from ground_forms import channel, distance, facets, lidar_error, micro_relief, pad, round_walls, smooth
from shapely import LineString, Point, Polygon

EPSG = 32617
# far out at sea in this zone, so that the place can be nobody's
X0, Y0 = 715_000.0, 3_322_000.0
BEARING = np.radians(-14.0)  # of the lane, from the map's east
CELL = 0.5
ROWS, COLUMNS = 236, 276
WEST, NORTH = X0 - 16.0, Y0 + 58.0
SEED = 20_240_613
FOOT = 0.3048

ROAD_EDGE, SHOULDER, SWALE_T, FRONT, REAR, RIDGE = 3.0, 4.0, 7.5, 12.0, 46.0, 49.0
TOP, SLOPE = 4.0, 0.018  # where the lane begins to fall, and how steeply
BOTTOM, HALF_BOTTOM, SIDE = 0.95, 0.8, 3.0  # of the swale: below the crown, half width, run of its sides for 1 up
SWALE_FROM, SWALE_TO = 9.0, 112.0
DRIVE, DRIVE_HALF = 9.0, 1.6
CULVERT_IN, CULVERT_HALF = 24.0, 4.2
HOUSE, PATIO, HOLLOW = (-9.0, 5.0, 19.0, 28.0), (-6.0, 2.0, 28.0, 32.0), (-2.0, 31.0, 5.5, 3.2)
OUTLET_U = -11.2
# mains beyond the road and what they send each house: kind, t of the main, u of the service, depth
SERVICES = (("gas", -5.0, 4.0, 1.7), ("power", -6.0, 3.0, 1.7), ("water", -8.0, 2.0, 1.8), ("sewer", 0.0, 0.0, 2.4))
WIDTH = 28.0


@dataclass(frozen=True)
class EmberLot:
    """One lot: where it begins, what stands on it, what was seen."""

    number: int
    west: float
    foundation: str
    floor: float  # of the sill above the ground at the walls
    built: int
    hollow: float  # low point of the hollow below the ground at the walls
    seen: str
    date: str
    depth_in: float
    hours: float
    shows: str

    @property
    def middle(self) -> float:
        return self.west + WIDTH / 2

    @property
    def pad(self) -> float:
        """Ground at the house's walls."""
        return float(crown(self.middle)) + 0.95

    def xy(self, u, t):
        return to_xy(self.middle + np.asarray(u, dtype=float), t)


def crown(s):
    """Height of the road's crown: level at the top, then falling."""
    past = np.asarray(s, dtype=float) - TOP
    return 96.0 - SLOPE * 6.0 * (np.logaddexp(0.0, past / 6.0) + 2.0 * np.logaddexp(0.0, -past / 6.0))


LOTS = (
    EmberLot(1, 12.0, "slab", 0.20, 2006, 0.13, "patio under water in every heavy rain", "2024-06-11", 2.0, 12.0,
             "slab house, water stands on its patio"),
    EmberLot(2, 40.0, "crawl", 0.55, 1994, 0.15, "water stands at the back steps", "2024-06-11", 2.5, 12.0,
             "crawl-space house: solid pipe, no stone beside its wall"),
    EmberLot(3, 68.0, "slab", 0.25, 2011, 0.12, "patio floods and takes a day to dry", "2024-07-02", 2.0, 24.0,
             "slab house at the lower end, where the swale carries the most"),
)  # fmt: skip


def to_xy(s, t):
    """Easting and northing of street coordinates."""
    s, t = np.asarray(s, dtype=float), np.asarray(t, dtype=float)
    east, north = np.cos(BEARING), np.sin(BEARING)
    return X0 + east * s - north * t, Y0 + north * s + east * t


def to_st(x, y):
    """Street coordinates of an easting and northing."""
    x, y = np.asarray(x, dtype=float) - X0, np.asarray(y, dtype=float) - Y0
    east, north = np.cos(BEARING), np.sin(BEARING)
    return east * x + north * y, east * y - north * x


def swale_bottom(s):
    """True bottom of the swale: clean, and falling evenly all the way."""
    return 96.0 - SLOPE * (np.asarray(s, dtype=float) - TOP) - BOTTOM


def true_surface(x, y):
    """Height of bare ground, free of lidar's errors; under a house the pad that it stands on.

    Parameters
    ----------
    x, y : array_like
        Easting and northing. [m]

    Returns
    -------
    ndarray
        Height. [m]
    """
    s, t = to_st(x, y)
    up = np.interp(t, [SHOULDER, FRONT, 22.0, REAR, RIDGE, RIDGE + 40.0], [-0.10, 0.20, 0.75, 1.70, 1.72, 0.50])
    z = crown(s) + np.where(t < 0.0, -0.10 + 0.03 * (t + SHOULDER), up)
    for each in LOTS:
        z = _built(z, each, s, t)
    road = crown(s) - 0.02 * np.abs(t) - 0.04 * np.maximum(np.abs(t) - ROAD_EDGE, 0.0)
    z = np.where(np.abs(t) < SHOULDER, road, z)
    z = z + micro_relief(x - WEST, y - NORTH) * np.where(is_paved(s, t), 0.1, 1.0)
    swale = [(at, SWALE_T, float(swale_bottom(at))) for at in (SWALE_FROM, 160.0)]
    z = channel(z, s, t, swale, HALF_BOTTOM, SIDE)
    for each in LOTS:
        z = _drive_over_swale(z, each, s, t)
    return z


def grid():
    """Easting and northing of the raster's cell centres."""
    return np.meshgrid(WEST + (np.arange(COLUMNS) + 0.5) * CELL, NORTH - (np.arange(ROWS) + 0.5) * CELL)


def build(seed: int = SEED, *, noise: float = 1.0):
    """The ground raster as lidar of this seed would give it, rounded to 1 cm.

    Parameters
    ----------
    seed : int
        Seed of the error, which is that of `ground_forms.lidar_error`.
    noise : float
        Multiplies the error; 0 leaves the true surface with facets and rounding.

    Returns
    -------
    (rows, cols) float32 ndarray
        Height. [m]
    """
    x, y = grid()
    s, t = to_st(x, y)
    in_swale = (np.abs(t - SWALE_T) < 1.5) & (s > SWALE_FROM) & ~is_paved(s, t)
    z = true_surface(x, y) + noise * lidar_error(np.random.default_rng(seed), is_paved(s, t), in_swale, cell=CELL)
    for each in LOTS:
        u, v = round_walls(*HOUSE)
        px, py = each.xy(u, v)
        u0, u1, t0, t1 = HOUSE
        under = distance(s - each.middle, t, u0 - 0.4, u1 + 0.4, t0 - 0.4, t1 + 0.4) <= 0.0
        z = facets(z, x - WEST, y - NORTH, (px - WEST, py - NORTH), under, cell=CELL)
    return np.round(z, 2).astype(np.float32)


def is_paved(s, t):
    """Whether a place is road, drive or patio."""
    paved = np.abs(t) < ROAD_EDGE
    for each in LOTS:
        u = s - each.middle
        paved |= (np.abs(u - DRIVE) < DRIVE_HALF) & (t > 0.0) & (t < 21.0)
        paved |= distance(u, t, *PATIO) <= 0.0
    return paved


def layers() -> dict[str, gpd.GeoDataFrame]:
    """Every layer by name."""
    lane = np.array([[-12.0, ROAD_EDGE], [118.0, ROAD_EDGE], [118.0, -ROAD_EDGE], [-12.0, -ROAD_EDGE]])
    paving = [{"lot": 0, "kind": "road", "protect": False, "geometry": Polygon(_points(*lane.T))}]
    made = {name: [] for name in ("parcels", "roofs", "utilities", "downspouts", "culverts", "outfalls", "complaints")}
    for kind, t, _, depth in SERVICES:
        main = LineString(_points(np.array([-12.0, 118.0]), np.full(2, t)))
        made["utilities"].append({"lot": 0, "kind": kind, "crossing": "careful", "depth_m": depth, "geometry": main})
    for each in LOTS:
        lot = {"lot": each.number}
        address = f"{2 * each.number + 1} Ember Lane"
        half = WIDTH / 2
        made["parcels"].append(lot | {"address": address, "geometry": _on(each, -half, half, FRONT, REAR)})
        made["roofs"].append(
            lot | {"part": "house", "open_below": False, "foundation": each.foundation,
                   "floor_m": round(each.pad + each.floor, 2), "built": each.built, "geometry": _on(each, *HOUSE)}
        )  # fmt: skip
        drive = _on(each, DRIVE - DRIVE_HALF, DRIVE + DRIVE_HALF, ROAD_EDGE, 21.0)
        paving.append(lot | {"kind": "drive", "protect": False, "geometry": drive})
        paving.append(lot | {"kind": "patio", "protect": True, "geometry": _on(each, *PATIO)})
        u0, u1, t0, t1 = HOUSE
        for u, t in ((u0 - 0.3, t0 + 0.2), (u1 + 0.3, t0 + 0.2), (u0 - 0.3, t1 - 0.2), (u1 + 0.3, t1 - 0.2)):
            made["downspouts"].append(lot | {"geometry": Point(*each.xy(u, t))})
        ends = each.middle + DRIVE + np.array([-CULVERT_HALF, CULVERT_HALF])
        up, down = (round(float(at), 3) for at in swale_bottom(ends))
        made["culverts"].append(
            lot | {"diameter_in": CULVERT_IN, "material": "corrugated", "invert_up_m": up, "invert_down_m": down,
                   "geometry": LineString(_points(ends, np.full(2, SWALE_T)))}
        )  # fmt: skip
        for kind, t, u, depth in SERVICES:
            line = LineString(_points(np.full(2, each.middle + u), np.array([t, HOUSE[2]])))
            made["utilities"].append(
                lot | {"kind": kind, "crossing": "careful", "depth_m": depth, "geometry": line}
            )
        made["outfalls"].append(lot | {"kind": "swale", "geometry": Point(*each.xy(OUTLET_U, SWALE_T))})
        made["complaints"].append(
            lot | {"what": each.seen, "date": each.date, "depth_in": each.depth_in, "hours": each.hours,
                   "where": "patio", "season": "in_rain", "geometry": Point(*each.xy(*HOLLOW[:2]))}
        )  # fmt: skip
    made["hardscape"] = paving
    street = np.array([[-12.0, FRONT], [118.0, FRONT], [118.0, -FRONT], [-12.0, -FRONT]])
    made["right_of_way"] = [{"kind": "street", "name": "Ember Lane", "geometry": Polygon(_points(*street.T))}]
    # as somebody drew it, a foot or so off the bottom
    s = np.arange(SWALE_FROM + 3.0, SWALE_TO, 6.0)
    drawn = LineString(_points(s, SWALE_T + 0.3 * np.sin(s / 17.0)))
    made["swales"] = [{"name": "north swale", "geometry": drawn}]
    return {name: gpd.GeoDataFrame(rows, geometry="geometry", crs=EPSG) for name, rows in made.items()}


def texts() -> dict[str, str]:
    """Site files and level shots by file name."""
    made = {"ember_lane.toml": _swale_toml()}
    for each in LOTS:
        made[f"ember_lane_{each.number}.toml"] = _lot_toml(each)
        made[f"ember_lane_shots_{each.number}.csv"] = _shots_csv(each)
    return made


def _built(z, each: EmberLot, s, t):
    """The pad of a house, the hollow behind it, its patio and its drive."""
    u = s - each.middle
    z = pad(z, distance(u, t, *HOUSE), each.pad, (0.03, 1.5))
    low, (u0, t0, half_length, half_width) = each.pad - each.hollow, HOLLOW
    rho = np.hypot((u - u0) / half_length, (t - t0) / half_width)
    z = z + (low + 0.04 * rho**2 - z) * (1.0 - smooth(1.0, 1.7, rho))
    slab = low + 0.006 * np.abs(t - t0)  # settled towards its middle
    z = z + (slab - z) * (1.0 - smooth(0.0, 0.6, distance(u, t, *PATIO)))
    beside = np.abs(u - DRIVE) - DRIVE_HALF
    drive = z + (_drive_level(each, s, t) - z) * (1.0 - smooth(0.0, 1.2, np.maximum(beside, t - 21.0)))
    return np.where((t > FRONT) & (t < 22.5) & (beside < 1.2), drive, z)


def _drive_level(each: EmberLot, s, t):
    front = crown(s) + np.interp(t, [ROAD_EDGE, SWALE_T, FRONT], [-0.06, 0.0, 0.08])
    return front + smooth(FRONT, 20.0, t) * (each.pad - 0.06 - front)


def _drive_over_swale(z, each: EmberLot, s, t):
    """The fill that carries a drive over the swale: all that a raster sees of its culvert."""
    beside = np.maximum(np.abs(s - each.middle - DRIVE) - DRIVE_HALF, 0.0)
    fill = _drive_level(each, s, t) - beside / 1.5
    over = np.where(beside > 0.0, np.maximum(z, fill), fill)
    return np.where((t > ROAD_EDGE) & (t <= FRONT) & (beside < 2.4), over, z)


def _points(s, t):
    return np.column_stack(to_xy(s, t))


def _on(each: EmberLot, u0: float, u1: float, t0: float, t1: float) -> Polygon:
    s = each.middle + np.array([u0, u1, u1, u0])
    return Polygon(_points(s, np.array([t0, t0, t1, t1])))


def _shots_csv(each: EmberLot) -> str:
    """What a level reads on a lot: the true ground to 2 mm, in the raster's datum."""
    places = (
        ("patio low", -2.0, 31.0), ("patio west", -5.0, 30.5), ("patio east", 1.5, 30.5),
        ("yard behind patio", -2.0, 36.0), ("yard north-west", -11.0, 43.0), ("yard north-east", 11.0, 43.0),
        ("side yard", -11.0, 30.0), ("side yard by house", -11.0, 22.0), ("front corner of house", 5.6, 18.4),
        ("lawn at lot line", OUTLET_U, 13.5), ("swale bank", OUTLET_U, 11.0),
        ("swale bottom at outlet", OUTLET_U, SWALE_T), ("swale bottom 4 ft down", OUTLET_U + 1.22, SWALE_T),
        ("front lawn", -4.0, 15.0),
    )  # fmt: skip
    error = np.random.default_rng(100 + each.number).normal(0.0, 0.002, len(places))
    rows = [
        f"# Invented level shots on lot {each.number} of Ember Lane, in the raster's vertical datum.",
        "point,easting,northing,height_m",
    ]
    for (name, u, t), off in zip(places, error, strict=True):
        x, y = each.xy(u, t)
        rows.append(f"{name},{float(x):.2f},{float(y):.2f},{float(true_surface(x, y)) + off:.3f}")
    return "\n".join(rows) + "\n"


def _lot_toml(each: EmberLot) -> str:
    text = _head(f"Ember Lane, lot {each.number}", f"{each.shows}; its swale takes the storm below the outlet")
    text += _table("parcel", "parcels", f"lot = {each.number}")
    text += "\n".join([
        "[house]",
        f'foundation = "{each.foundation}"',
        f'floor = "{(each.pad + each.floor) / FOOT:.2f} ft"',
        f'footing_depth = "{"18 in" if each.foundation == "slab" else "2 ft"}"',
        f"built = {each.built}", "", "",
    ])  # fmt: skip
    for name in ("roofs", "hardscape", "utilities", "right_of_way", "downspouts", "culverts"):
        text += _table(name, name)
    text += _table("outfalls", "outfalls", f"lot = {each.number}")
    text += _table("complaints", "complaints", f"lot = {each.number}")
    text += f'[levels]\nfile = "ember_lane_shots_{each.number}.csv"\n\n' + _RAIN
    return text + '\n[pump]\ncurve = "pump.csv"\n\n[prices]\nfile = "prices.csv"\n'


def _swale_toml() -> str:
    text = _head("Ember Lane, its swale", "a swale that carries the ten-year storm, its bottom and culverts measured")
    text += _table("parcel", "parcels") + _table("swales", "swales")
    for name in ("roofs", "hardscape", "utilities", "right_of_way", "downspouts", "culverts", "outfalls"):
        text += _table(name, name)
    return text + _RAIN


_RAIN = (
    '[rain]\ntable = "rain.csv"\nreturn_period = "10 yr"\n\n'
    '[soil]\ngroup = "C"\ncover = "lawn, fair"\ncompacted = true\n'
)


def _head(name: str, shows: str) -> str:
    return "\n".join([
        f"# Invented. Shows: {shows}.", f'name = "{name}"', 'units = "us"', "", "[elevation]",
        'file = "ember_lane.tif"', 'unit = "m"', 'rmse = "10 cm"', "flown = 2021", "", "",
    ])  # fmt: skip


def _table(key: str, layer: str, where: str | None = None) -> str:
    rows = [f"[{key}]", 'file = "ember_lane.gpkg"', f'layer = "{layer}"']
    return "\n".join(rows + ([f'where = "{where}"'] if where else [])) + "\n\n"
