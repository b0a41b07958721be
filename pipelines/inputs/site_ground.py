"""From a site file to the ground that its lot drains over: raster, shapes and level shots brought together."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipelines.inputs.shapes.layers import SiteLayers, locate_parcel, read_layers
from pipelines.inputs.site_file import SiteFile, read_site_file
from pipelines.inputs.tables.shots import LevelShots, read_level_shots
from terrain.arrays import BoolArray
from terrain.errors import GroundError
from terrain.flow.conditioning import Culvert, make_ground
from terrain.flow.window import grow_window
from terrain.ground import Ground
from terrain.level_shots import ShotFit, rebase_on_shots
from terrain.reading.raster_source import RasterSource, open_raster
from terrain.reading.surface import Surface


@dataclass(frozen=True, slots=True, eq=False)
class SiteInputs:
    """A site file with all that it names opened.

    Attributes
    ----------
    site : SiteFile
        What it says.
    source : RasterSource
        The raster's header.
    layers : SiteLayers
        All shapes, in the metric frame.
    shots : LevelShots or None
        Of [levels].
    """

    site: SiteFile
    source: RasterSource
    layers: SiteLayers
    shots: LevelShots | None

    @property
    def rmse(self) -> float:
        """Vertical accuracy of the lidar: as given, else the rule's. [m]"""
        given = self.site.elevation.rmse
        return self.site.rules["lidar_rmse"].likely if given is None else given


def open_site(path: Path, *, several_parcels: bool = False) -> SiteInputs:
    """Read a site file, the header of its raster and all its layers."""
    site = read_site_file(path)
    source = open_raster(site.elevation.file, unit=site.elevation.unit, near=locate_parcel(site))
    layers = read_layers(site, source.grid.frame, several_parcels=several_parcels)
    shots = read_level_shots(site.levels.file, source.grid.frame) if site.levels is not None else None
    return SiteInputs(site, source, layers, shots)


def ground_of(surface: Surface, layers: SiteLayers) -> Ground:
    """Stand a site's roofs and barriers on a surface and open it along its culverts."""
    return make_ground(
        surface,
        roofs=list(layers.roofs.geometry),
        open_below=[bool(value) for value in layers.roofs["open_below"]],
        downspouts=list(layers.downspouts.geometry),
        barriers=list(layers.barriers.geometry),
        culverts=[
            Culvert(line, (_known(up), _known(down)))
            for line, up, down in zip(
                layers.culverts.geometry, layers.culverts["invert_up_m"], layers.culverts["invert_down_m"], strict=True
            )
        ],
    )


def read_lot_ground(
    inputs: SiteInputs, drains_to_lot: Callable[[Ground], BoolArray]
) -> tuple[Surface, Ground, ShotFit | None]:
    """Read the window that a lot needs, bring it to the level shots, and make it ground."""
    layers = inputs.layers
    surface = grow_window(
        inputs.source, layers.parcel, lambda window: drains_to_lot(ground_of(window, layers))
    )
    fit = None
    if inputs.shots is not None:
        try:
            fit = rebase_on_shots(surface, inputs.shots.x, inputs.shots.y, inputs.shots.heights)
        except GroundError as error:
            raise GroundError(f"{inputs.shots.where}: {error}") from None
        surface = fit.surface
    return surface, ground_of(surface, layers), fit


def shots_in_words(fit: ShotFit, shots: LevelShots) -> tuple[str, ...]:
    """What the shots did to the ground, for the warnings."""
    said = [f"level shots: the ground was shifted by {fit.shift:+.3f} m to their datum and bent to each of them"]
    if fit.residuals.size:
        worst = int(np.argmax(np.abs(fit.residuals)))
        if abs(float(fit.residuals[worst])) > 0.15:
            said.append(
                f"level shots: a shot lies {fit.residuals[worst]:+.2f} m off the shifted lidar; of "
                f"{len(shots.points)} shots that is much: look at it again"
            )
    return tuple(said)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
