"""What `lotshed start` looks at: one ground raster, with a surface beside it or not, or tiles of lidar points."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.voice import Voice

if TYPE_CHECKING:
    from pipelines.inputs.describe import Description
    from pipelines.inputs.lidar_finds import GroundFinds, LidarFinds
    from terrain.unit_table import Units


@dataclass(frozen=True, slots=True)
class LookedAt:
    """The files looked at, with what lidar gave beside them, where it did."""

    description: "Description"
    place: Path
    units: "Units"
    outlines: Path
    made: "GroundFinds | None" = None
    found: "LidarFinds | None" = None

    @property
    def warnings(self) -> tuple[Any, ...]:
        return self.found.warnings if self.found is not None else ()

    def lines(self) -> list[tuple[str, str]]:
        from pipelines.deliverables.files.found_text import found_lines

        return found_lines(self.made, self.found, self.units) if self.found is not None else []

    def named(self, text: str) -> str:
        from pipelines.deliverables.files.found_text import with_finds

        folder = self.place.resolve().parent
        if self.found is None:
            return text
        return with_finds(text, self.made, self.found, self.outlines, folder, self.units)


@contextmanager
def looked_at(
    voice: Voice, ground: tuple[Path, ...], parcel: Path, surface: Path | None, crs: str | None, asked: dict[str, Any],
    place: Path, units: "Units", overwrite: bool,
) -> Iterator[LookedAt]:  # fmt: skip
    """Look at a raster or at points; what is found in lidar is moved beside the site file once that is written."""
    from pipelines.deliverables.files.found_files import FoundPlaces, found_files
    from pipelines.inputs.describe import describe_inputs
    from pipelines.inputs.lidar_finds import ground_from_points, roofs_from_surface

    of_points = _are_points(ground, surface, crs)
    places = FoundPlaces.beside(place)
    if not of_points and surface is None:
        yield LookedAt(describe_inputs(ground[0], parcel, **asked), place, units, places.outlines)
        return
    places.check(ground=of_points, overwrite=overwrite)
    made = None
    with voice.progress() as tell:
        if surface is not None:
            tell("finding roofs in the surface", 0.3)
            found = roofs_from_surface(ground[0], surface, parcel, **asked)
        else:
            tell("reading points and making the ground; a large tile takes a minute", 0.3)
            made, found = ground_from_points(ground, parcel, crs=crs, **asked)
    with found_files(places, made, found, units) as (hidden, move):
        description = describe_inputs(hidden or ground[0], parcel, **asked)
        if hidden is not None:
            raster = replace(description.source, path=places.ground)
            description = replace(description, source=raster)
        yield LookedAt(description, place, units, places.outlines, made, found)
        move()


def _are_points(ground: tuple[Path, ...], surface: Path | None, crs: str | None) -> bool:
    """Whether all files are points; what does not go together is refused."""
    from terrain.reading.points_file import is_points_file

    points = [path for path in ground if is_points_file(path)]
    if points and len(points) < len(ground):
        other = next(path for path in ground if path not in points)
        raise click.UsageError(
            f"{points[0]} holds points and {other} does not. Give one raster, or tiles of points alone."
        )
    if not points and len(ground) > 1:
        raise click.UsageError(
            f"{len(ground)} rasters are given. Give one; several tiles of a raster make one by gdalbuildvrt."
        )
    if points and surface is not None:
        raise click.UsageError("--surface goes with a ground raster. In points the roofs are found without it.")
    if not points and crs is not None:
        raise click.UsageError("--crs goes with points. Assign a raster's CRS in its file.")
    return bool(points)
