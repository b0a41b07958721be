"""A piece of ground that drains to one place, and what runs off it."""

from dataclasses import dataclass

from shapely import Geometry

from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class SurfaceShare:
    """One surface's share of a sub-catchment.

    Attributes
    ----------
    surface : str
        Key of the surface in the tables: roof, paved, lawn, ...
    area : float
        [m2]
    curve_number, coefficient : float
        Of this surface on this soil. [-]
    impervious, connected : bool
        Whether rain runs off it at once, and whether that water reaches the collector without crossing grass.
    """

    surface: str
    area: float
    curve_number: float
    coefficient: float
    impervious: bool
    connected: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Hydrograph:
    """Flow at equal time steps from the start of rain.

    Attributes
    ----------
    step : float
        [s]
    flow : (n,) float ndarray
        Flow at the times 0, step, 2 step, ... ; its volume is step * sum(flow). [m3/s]
    """

    step: float
    flow: FloatArray

    @property
    def peak(self) -> float:
        """Largest flow. [m3/s]"""
        return float(self.flow.max()) if self.flow.size else 0.0

    @property
    def volume(self) -> float:
        """Water in it. [m3]"""
        return float(self.flow.sum() * self.step)


@dataclass(frozen=True, slots=True, eq=False)
class SubCatchment:
    """One row of the runoff table.

    Attributes
    ----------
    id, drains_to : str
        Text ids; drains_to may be edge_n, edge_e, edge_s or edge_w.
    shape : shapely Geometry
        Its cells as polygons in the metric frame.
    run_on : bool
        Lies outside the parcel.
    shares : tuple of SurfaceShare
        Surfaces, whose areas add up to `area`.
    area, impervious_fraction, runoff_coefficient, curve_number : float
        [m2], [-], [-], [-]
    flow_length, slope, time_of_concentration : float
        Along the longest path in time. [m], [-], [s]
    intensity, rational_peak : float
        Of rain at the time of concentration, and C i A: a comparison. [m/s], [m3/s]
    storm_depth, runoff_depth, runoff_volume : float
        [m], [m], [m3]
    hydrograph : Hydrograph
        From the run's one rainfall excess.
    """

    id: str
    drains_to: str
    shape: Geometry
    run_on: bool
    shares: tuple[SurfaceShare, ...]
    area: float
    impervious_fraction: float
    runoff_coefficient: float
    curve_number: float
    flow_length: float
    slope: float
    time_of_concentration: float
    intensity: float
    rational_peak: float
    storm_depth: float
    runoff_depth: float
    runoff_volume: float
    hydrograph: Hydrograph
