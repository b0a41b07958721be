"""Constants of water."""

from typing import Final

from terrain.unit_table import FOOT, POUND

GRAVITY: Final = 9.80665
"""Standard acceleration of free fall. [m/s2]"""

POUND_PER_SQUARE_FOOT: Final = POUND * GRAVITY / FOOT**2
"""[Pa]"""

UNIT_WEIGHT_OF_WATER: Final = 62.4 * POUND_PER_SQUARE_FOOT / FOOT
"""62.4 lb/ft3, the figure American design texts use. [N/m3]"""

DENSITY_OF_WATER: Final = 999.7
"""At 10 degrees Celsius. [kg/m3]"""

VISCOSITY_OF_WATER: Final = 1.307e-3
"""Dynamic, at 10 degrees Celsius. [Pa s]"""
