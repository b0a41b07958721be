"""Exact factors between the units that American sources print and SI, and the constants of water."""

from typing import Final

GRAVITY: Final = 9.80665
"""Standard acceleration of free fall. [m/s2]"""

INCH: Final = 0.0254
"""[m]"""

FOOT: Final = 0.3048
"""[m]"""

US_GALLON: Final = 231 * INCH**3
"""231 cubic inches. [m3]"""

GALLON_PER_MINUTE: Final = US_GALLON / 60
"""[m3/s]"""

CUBIC_FOOT_PER_SECOND: Final = FOOT**3
"""[m3/s]"""

INCH_PER_HOUR: Final = INCH / 3600
"""[m/s]"""

POUND_PER_SQUARE_FOOT: Final = 0.45359237 * GRAVITY / FOOT**2
"""[Pa]"""

UNIT_WEIGHT_OF_WATER: Final = 62.4 * POUND_PER_SQUARE_FOOT / FOOT
"""62.4 lb/ft3, the figure American design texts use. [N/m3]"""

DENSITY_OF_WATER: Final = 999.7
"""At 10 degrees Celsius. [kg/m3]"""

VISCOSITY_OF_WATER: Final = 1.307e-3
"""Dynamic, at 10 degrees Celsius. [Pa s]"""
