"""Constants of water."""

from typing import Final

GRAVITY: Final = 9.80665
"""Standard acceleration of free fall. [m/s2]"""

DENSITY_OF_WATER: Final = 999.7
"""At 10 degrees Celsius. [kg/m3]"""

VISCOSITY_OF_WATER: Final = 1.307e-3
"""Dynamic, at 10 degrees Celsius. [Pa s]"""
