"""Claywick Hills, an invented neighbourhood: its street, its lots and its channels as numbers.

Everything is laid out in street coordinates: `s` runs down the centreline of Wetherclay Lane from west to
east, `t` square to it, positive to the north, up the hill. Lots use `u`, measured along the street from the
middle of the lot, and `v`, the distance from the centreline on the lot's own side. All in metres; heights of
a lot are relative to the road's crown beside its middle.
"""

from dataclasses import dataclass

import numpy as np

EPSG = 32617
# far out at sea in this zone, so that the place can be nobody's
X0, Y0 = 712_000.0, 3_320_000.0
RADIUS = 800.0  # the street bends round the hill, whose centre lies to the north
CELL = 0.5
ROWS, COLUMNS = 420, 700
WEST, NORTH = X0 - 175.0, Y0 + 128.0
S_MIDDLE = 165.0

ROAD_EDGE, SHOULDER, SWALE_T, FRONT, REAR = 3.0, 4.0, 6.4, 9.5, 51.5
ROAD_END = 248.0
POND_S, POND_LEVEL, POND_RADII = 292.0, 210.60, (24.0, 18.0)
SEED = 20_240_511


def to_xy(s, t):
    """Easting and northing of street coordinates."""
    angle = (np.asarray(s, dtype=float) - S_MIDDLE) / RADIUS
    reach = RADIUS - np.asarray(t, dtype=float)
    return X0 + reach * np.sin(angle), Y0 + RADIUS - reach * np.cos(angle)


def to_st(x, y):
    """Street coordinates of an easting and northing."""
    east, south = np.asarray(x, dtype=float) - X0, Y0 + RADIUS - np.asarray(y, dtype=float)
    return S_MIDDLE + RADIUS * np.arctan2(east, south), RADIUS - np.hypot(east, south)


def crown(s):
    """Height of the road's crown: 0.9 % down to the east."""
    return 214.0 - 0.009 * np.asarray(s, dtype=float)


@dataclass(frozen=True)
class Lot:
    """One lot: where it lies, how its ground runs, what stands on it."""

    number: int
    side: int  # +1 north, -1 south
    west: float  # s of its western line
    grade: tuple[tuple[float, float], ...]  # (v, height) of the ground before anybody built
    pad: float  # height of the ground at the house's walls
    foundation: str
    floor: float  # height of the sill above the pad
    built: int
    hollow: float | None = None  # height of the patio's low point, None where the yard has no hollow
    rim: float = 0.04  # how far water stands above it before it runs off
    hollow_at: tuple[float, float, float, float] = (-2.0, 29.0, 5.5, 3.2)  # u, v, half length, half width
    patio: tuple[float, float, float, float] | None = (-6.0, 2.0, 26.0, 30.0)  # u from, to, v from, to
    house: tuple[float, float, float, float] = (-9.0, 5.0, 17.0, 26.0)
    drive: float = 9.0  # u of its middle
    level: bool = False  # ground takes the crown's height at the lot's middle and doesn't fall with the street
    culvert: float | None = 12.0  # bore of the drive's culvert in inches
    culvert_listed: bool = True
    culvert_shot: tuple[float, float] | None = None  # its inverts, where somebody has been there with a level
    dip: float = 0.0  # how far the drive dips where it crosses the swale
    apron: tuple[float, float] = (0.03, 1.5)  # fall of the ground from the walls, and how far it is kept
    false_pit: tuple[float, float] | None = None  # u, v of a dent in the lawn
    inset: float = 0.0  # how far inside its lines its own grade begins
    width: float = 28.0

    @property
    def middle(self) -> float:
        return self.west + self.width / 2

    @property
    def reference(self) -> float:
        return float(crown(self.middle))

    def height(self, relative: float) -> float:
        """Elevation of a height given relative to the crown."""
        return self.reference + relative

    def st(self, u, v):
        """Street coordinates of a place on the lot."""
        return self.middle + np.asarray(u, dtype=float), self.side * np.asarray(v, dtype=float)

    def xy(self, u, v):
        return to_xy(*self.st(u, v))


UPHILL = ((FRONT, 0.20), (20.0, 0.75), (REAR, 1.85))
GENTLE = ((FRONT, 0.10), (20.0, 0.50), (REAR, 1.05))
RISING = ((FRONT, 0.20), (20.0, 0.55), (REAR, 0.95))
DRIVE_WIDTH = 3.2

LOTS = (
    Lot(1, +1, 18, UPHILL, 0.95, "slab", 0.20, 2004, hollow=0.82, culvert=15.0),
    Lot(2, +1, 46, UPHILL, 0.95, "crawl", 0.55, 1988, hollow=0.80, culvert=15.0),
    Lot(3, +1, 74, UPHILL, 0.95, "basement", 0.35, 1976, hollow=0.82, culvert=18.0),
    Lot(4, +1, 102, UPHILL, 0.95, "crawl", 0.50, 1969, hollow=0.82, culvert=18.0),
    Lot(5, +1, 130, ((FRONT, 0.10), (13.5, 0.22), (20.0, 1.20), (REAR, 1.75)), 1.38, "slab", 0.20, 2007, hollow=1.25,
        rim=0.06, culvert=24.0),
    Lot(6, +1, 158, GENTLE, 0.70, "crawl", 0.50, 1991, patio=None, apron=(0.05, 3.0), culvert=24.0),
    Lot(7, +1, 186, GENTLE, 0.70, "slab", 0.20, 2001, hollow=0.57, culvert=24.0),
    Lot(8, +1, 214, ((FRONT, 0.12), (REAR, 0.204)), 0.32, "slab", 0.18, 2010, hollow=0.125, rim=0.02, level=True,
        culvert=24.0),
    Lot(9, -1, 18, ((FRONT, 0.20), (20.0, 0.55), (REAR, 0.90)), 0.75, "slab", 0.20, 2003, hollow=0.61, dip=0.22,
        culvert_listed=False),
    Lot(10, -1, 46, ((FRONT, 0.10), (20.0, 0.38), (28.0, 0.33), (REAR, -0.25)), 0.58, "slab", 0.25, 2012,
        apron=(0.05, 3.0), false_pit=(-6.0, 41.0)),
    Lot(11, -1, 74, ((FRONT, 0.10), (20.0, 0.36), (26.5, 0.32), (36.0, -0.82), (REAR, -0.90)), 0.44, "crawl", 0.60,
        1994, hollow=-0.967, rim=0.06, hollow_at=(0.0, 37.0, 8.0, 5.5), patio=(-4.0, 4.0, 34.5, 39.0), inset=3.5),
    Lot(12, -1, 102, RISING, 0.72, "slab", 0.20, 1998, hollow=0.60),
    Lot(13, -1, 130, RISING, 0.72, "slab", 0.20, 2000, hollow=0.60, culvert=15.0, culvert_shot=(211.87, 211.82)),
    Lot(14, -1, 158, RISING, 0.72, "basement", 0.40, 1983, hollow=0.59, hollow_at=(5.5, 28.0, 3.6, 3.2),
        patio=(-8.0, -2.0, 26.0, 30.0), culvert=8.0, culvert_shot=(211.57, 211.52)),
    Lot(15, -1, 186, RISING, 0.72, "crawl", 0.50, 1996, hollow=0.60, culvert=15.0),
    Lot(16, -1, 214, ((FRONT, 0.10), (20.0, 0.40), (REAR, 0.42)), 0.56, "slab", 0.20, 2009, hollow=0.34, dip=0.38,
        culvert=15.0, culvert_listed=False),
)

# Two lots of the next lane up the hill; their water is the run-on of lots 2 and 3.
UPPER_LOTS = ((17, 46.0, 74.0), (18, 74.0, 102.0))
UPPER_REAR = 92.0
UPPER_HOUSES = ((17, (53.0, 67.0, 72.0, 81.0)), (18, (81.0, 95.0, 73.0, 82.0)))

# Bottoms of the channels: (s, t, height).
NORTH_SWALE = ((-12.0, SWALE_T, 213.38), (18.0, SWALE_T, 213.088), (242.0, SWALE_T, 210.942), (272.0, SWALE_T, 210.66))
SOUTH_SWALE = tuple(
    (s, -SWALE_T, z)
    for s, z in (
        (-12.0, 213.49), (30.0, 213.12),
        (37.5, 213.00),  # just above the drive of lot 9, whose culvert has silted up
        (45.0, 212.96), (98.0, 212.38), (129.0, 212.12), (138.0, 211.92),
        (148.0, 212.12),  # against the grade: water stands from 129 to here; the culvert's mouth has silted over
        (160.0, 212.06), (178.0, 211.58), (184.0, 211.52), (206.0, 211.36), (212.0, 211.30), (242.0, 210.99),
        (272.0, 210.66),
    )
)
# An old field ditch behind lots 5 to 8 that keeps the hill's water from them.
FIELD_DITCH = ((126.0, 55.0, 213.05), (250.0, 55.0, 211.62), (286.0, 14.0, 210.64))
# A shallow swale that somebody graded across the yard of lot 6 and down its eastern line.
SIDE_SWALE = ((160.0, 31.0, 212.94), (184.4, 31.0, 212.72), (184.4, 22.0, 212.59), (184.4, 10.5, 212.42))
POND_OUTLET = ((312.0, 0.0, 210.60), (345.0, 0.0, 210.30))


def lot(number: int) -> Lot:
    """The lot of that number."""
    return next(each for each in LOTS if each.number == number)
