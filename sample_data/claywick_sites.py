"""Tables and site files of Claywick Hills: rain, pump, prices, level shots, one site file a lot."""

import numpy as np
from claywick_ground import true_surface
from claywick_layers import COMPLAINTS, outfall_at
from claywick_lots import SWALE_T, Lot, lot

FOOT = 0.3048

SHOWS = {
    1: "gravity: hill water stands on the patio behind a slab house, the swale lies well below it",
    2: "run-on: a draw brings the water of the lot behind to the back door of a crawl-space house",
    3: "basement house: no stone to grade beside its wall, and a damp wall that surface works may not cure",
    4: "septic field, well, gas and water across the only way to the street",
    5: "daylight on its own front lawn",
    6: "a swale round the house, no hollow left, and yet a lawn that never dries: ground water; a hole in the raster",
    7: "a fence with kickboards that dams the run-on, and a carport that doesn't",
    8: "0.2 % ground: spare is about a tenth of a foot, less than lidar can tell",
    9: "its outlet is submerged: the drive's culvert is silted, and nobody has listed it",
    10: "gently graded and dry, one false pit, a clogged gutter: nothing to build",
    11: "the patio lies 0.6 ft below the swale and needs a lift, the downspouts don't",
    12: "no outfall given",
    13: "the swale in front falls the wrong way and holds water",
    14: "basement house, water at its corner; the drive's culvert is too small",
    15: "crawl-space house with a wet patio: solid pipe, no stone beside the wall",
    16: "drains to the pond over a drainage tract; its drive's culvert is sound but nobody has listed it",
}

PRICES = (
    ("4 in SDR-35 pipe", "ft", 2.1, 2.9, 4.1),
    ("6 in SDR-35 pipe", "ft", 4.6, 6.7, 9.2),
    ("4 in D2729 perforated pipe", "ft", 1.1, 1.7, 2.5),
    ("4 in corrugated pipe", "ft", 0.7, 1.1, 1.6),
    ("1-1/2 in sch 40 pipe", "ft", 1.0, 1.7, 2.6),
    ("2 in sch 40 pipe", "ft", 1.5, 2.4, 3.6),
    ("washed stone", "ton", 36, 57, 88),
    ("stone delivery", "load", 80, 115, 155),
    ("filter fabric", "ft2", 0.1, 0.2, 0.4),
    ("9 in basin and grate", "each", 32, 56, 97),
    ("12 in basin and grate", "each", 46, 82, 143),
    ("cleanout", "each", 11, 19, 31),
    ("pipe fitting", "each", 4, 8, 15),
    ("pop-up", "each", 21, 36, 61),
    ("mitred end", "each", 26, 46, 92),
    ("animal guard", "each", 8, 15, 31),
    ("splash pad", "each", 10, 18, 36),
    ("pump", "each", 225, 340, 560),
    ("sump basin and lid", "each", 185, 310, 560),
    ("sump grate", "each", 41, 76, 132),
    ("check valve", "each", 15, 26, 62),
    ("alarm", "each", 42, 72, 185),
    ("sod", "ft2", 0.5, 0.9, 1.6),
    ("labour", "h", 44, 64, 92),
    ("machine day", "day", 210, 360, 610),
    ("electrician", "job", 410, 920, 2050),
)


def rain_csv() -> str:
    """Depth by duration and return period."""
    durations = (5, 10, 15, 30, 60, 120, 180, 360, 720, 1440)
    periods = (1, 2, 5, 10, 25, 50, 100)
    rows = [
        "# Invented for Claywick Hills. No station stands behind it: never design by it.",
        "duration_min," + ",".join(f"depth_in_{period}yr" for period in periods),
    ]
    for minutes in durations:
        # an intensity-duration-frequency curve of the usual form, with numbers of our own
        depths = (1.44 * p**0.17 * minutes / 60.0 * (70.0 / (minutes + 10.0)) ** 0.80 for p in periods)
        rows.append(f"{minutes}," + ",".join(f"{depth:.2f}" for depth in depths))
    return "\n".join(rows) + "\n"


def pump_csv() -> str:
    """Flow and head of a pump that nobody makes."""
    rows = ["# Invented: a half-horse effluent pump of no maker.", "flow_gpm,head_ft"]
    rows += [f"{flow},{head}" for flow, head in
             ((0, 26.0), (10, 25.1), (20, 23.3), (30, 20.6), (40, 17.0), (50, 12.5), (60, 7.1), (66, 3.4))]
    return "\n".join(rows) + "\n"


def prices_csv() -> str:
    """What material and hired work cost here: low, likely, high."""
    rows = ["# Invented: prices of no shop and no contractor.", "item,unit,low,likely,high"]
    return "\n".join(rows + [",".join(map(str, row)) for row in PRICES]) + "\n"


def shots_csv(number: int) -> str:
    """What a level reads on a lot: the true ground to 2 mm, in the raster's datum."""
    each = lot(number)
    front = outfall_u(each)
    places = [
        ("patio low", -2.0, 29.0), ("patio west", -5.0, 28.5), ("patio east", 1.5, 28.5),
        ("yard behind patio", -2.0, 34.0), ("yard north-west", -11.0, 44.0), ("yard north-east", 11.0, 44.0),
        ("side yard", -10.3, 28.0), ("side yard by house", -10.3, 20.0), ("front corner of house", 5.6, 16.4),
        ("lawn at lot line", front, 11.0), ("swale bank", front, 9.3), ("swale bottom at outlet", front, SWALE_T),
        ("swale bottom 4 ft down", front + 1.22, SWALE_T), ("front lawn", -4.0, 13.0),
    ]
    error = np.random.default_rng(number).normal(0.0, 0.002, len(places))
    rows = [
        f"# Invented level shots on lot {number}, in the raster's vertical datum.",
        "point,easting,northing,height_m",
    ]
    for (name, u, v), off in zip(places, error, strict=True):
        x, y = each.xy(u, v)
        rows.append(f"{name},{float(x):.2f},{float(y):.2f},{float(true_surface(x, y)) + off:.3f}")
    return "\n".join(rows) + "\n"


def outfall_u(each: Lot) -> float:
    """Where along its frontage a lot's outfall lies."""
    return outfall_at(each.number)[0] - each.middle


def site_toml(number: int, *, levels: bool = False) -> str:
    """The site file of a lot."""
    each = lot(number)
    shows = SHOWS[number] + (", settled by shots of a level and the measured culverts of its swale" if levels else "")
    text = _head(f"Claywick Hills, lot {number}", shows) + _table("parcel", "parcels", f"lot = {number}")
    text += "\n".join([
        "[house]",
        f'foundation = "{each.foundation}"',
        f'floor = "{each.height(each.pad + each.floor) / FOOT:.2f} ft"',
        f'footing_depth = "{_footing(each)}"',
        f"built = {each.built}", "", "",
    ])
    for name in ("roofs", "hardscape", "barriers", "keep_out", "utilities", "right_of_way", "downspouts"):
        text += _table(name, name)
    text += _table("culverts", "culverts_surveyed" if levels else "culverts")
    if outfall_at(number) is not None:
        text += _table("outfalls", "outfalls", f"lot = {number}")
    if any(row[0] == number for row in COMPLAINTS):
        text += _table("complaints", "complaints", f"lot = {number}")
    if levels:
        text += f'[levels]\nfile = "shots_{number:02d}.csv"\n\n'
    return text + _rain_soil_pump()


def lot_only_toml() -> str:
    """Ground and parcel alone."""
    return _head("Claywick Hills, lot 1 from ground and parcel alone", "nothing else is known") + _table(
        "parcel", "parcels", "lot = 1"
    ).rstrip() + "\n"


def swale_toml() -> str:
    """Both roadside swales for the swale check, in the storm that the street's culverts were laid for."""
    text = _head("Wetherclay Lane, both swales", "the outfall of every lot")
    text += _table("parcel", "parcels", "lot <= 16") + _table("swales", "swales").rstrip() + '\nfreeboard = "2 in"\n\n'
    for name in ("roofs", "hardscape", "utilities", "right_of_way", "downspouts", "culverts", "outfalls"):
        text += _table(name, name)
    return text + _rain_soil_pump(pump=False).replace('"10 yr"', '"1 yr"')


def _footing(each: Lot) -> str:
    return {"slab": "18 in", "crawl": "2 ft", "basement": "8 ft"}[each.foundation]


def _head(name: str, shows: str) -> str:
    return "\n".join([
        f"# Invented. Shows: {shows}.", f'name = "{name}"', 'units = "us"', "", "[elevation]", 'file = "ground.tif"',
        'unit = "m"', 'rmse = "10 cm"', "flown = 2021", "", "",
    ])


def _table(key: str, layer: str, where: str | None = None) -> str:
    rows = [f"[{key}]", 'file = "neighbourhood.gpkg"', f'layer = "{layer}"']
    return "\n".join(rows + ([f'where = "{where}"'] if where else [])) + "\n\n"


def _rain_soil_pump(*, pump: bool = True) -> str:
    text = '[rain]\ntable = "rain.csv"\nreturn_period = "10 yr"\n\n' + _table("soil", "soils").rstrip()
    text += '\ncover = "lawn, fair"\n'
    if pump:
        text += '\n[pump]\ncurve = "pump.csv"\n\n[prices]\nfile = "prices.csv"\n'
    return text
