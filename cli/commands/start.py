"""lotshed start: look at the two files that everyone has, and write a site file."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.gather_options import gather_options, gathered_of, suggestion_lines
from cli.options import allow_linked_option, overwrite_option, talk_options
from cli.streams import tell
from cli.voice import Voice

if TYPE_CHECKING:
    from pipelines.inputs.describe import Description
    from pipelines.inputs.lidar_finds import GroundFinds, LidarFinds
    from terrain.unit_table import Units


@click.command("start")
@click.argument("ground", metavar="GROUND.tif|TILE.laz...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.argument("parcel", metavar="PARCEL", type=click.Path(path_type=Path))
@click.option("--layer", help="Layer of the parcel file, where it holds several.")
@click.option("--where", help="Expression that selects the lot, as GDAL takes it, such as \"lot = 7\".")
@click.option(
    "--surface", type=click.Path(path_type=Path), metavar="DSM.tif",
    help="Raster of the surface with houses and trees, beside a ground raster: roofs are found in it.",
)
@click.option("--crs", help="CRS of the points, where the tile names none or a wrong one, such as EPSG:6347+5703.")
@click.option("--unit", type=click.Choice(["m", "ft", "ftUS"]), help="Vertical unit of the ground, where you know it.")
@click.option(
    "--units", type=click.Choice(["us", "si"]),
    help="Units of what is handed over  [default: us on a map in feet or of the United States, else si]",
)
@gather_options
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Site file to write  [default: site.toml by PARCEL]"
)
@allow_linked_option
@overwrite_option
@talk_options
@click.pass_obj
def command(
    voice: Voice,
    /,
    ground: tuple[Path, ...],
    parcel: Path,
    surface: Path | None,
    crs: str | None,
    layer: str | None,
    where: str | None,
    unit: str | None,
    units: str | None,
    out: Path | None,
    overwrite: bool,
    **given: Any,
) -> None:
    """Look at a ground raster or tiles of lidar points and a parcel file, say what they are, and write a site file.

    The ground may be any raster that GDAL reads, or one or several tiles of points (LAS, LAZ, COPC) with classes; the
    parcel any vector file; each may be in its own CRS. Of points the ground within 200 m of the lot is written as
    ground.tif in the tile's own vertical unit, and the roofs found as found.gpkg, both beside the site file. The site
    file runs as it is, and its comments say what else can be added: rain, outfalls and so on. What you have of these
    can be named here already; only what holds something near the lot is written. Where the parcel file holds the
    neighbors, the lot's frontage and the low lines before it are told too.

    \b
    Example:
      lotshed start sample_data/ground.tif sample_data/neighbourhood.gpkg --layer parcels --where "lot = 7" \\
          --roofs sample_data/neighbourhood.gpkg --rain sample_data/rain.csv --out /tmp/site.toml
    """
    from pipelines.deliverables.files.gathered_text import gathered_lines, with_gathered
    from pipelines.deliverables.files.single_file import check_file_place, write_single_text
    from pipelines.deliverables.files.site_file_text import description_lines, site_file_text
    from pipelines.deliverables.unit_systems import unit_system
    from pipelines.deliverables.words.say import say_all
    from pipelines.inputs.gathering import units_of_map
    from terrain.errors import LotshedError

    place = parcel.parent / "site.toml" if out is None else out
    check_file_place(place, ending=".toml", overwrite=overwrite)
    system = unit_system(units or units_of_map(parcel, layer, ground))
    asked = {"layer": layer, "where": where, "unit": unit}
    with _looked_at(voice, ground, parcel, surface, crs, asked, place, system, overwrite) as look:
        found, folder = look.description, place.resolve().parent
        gathered = gathered_of(given, found.parcel, found.source.grid.frame)
        text = look.named(site_file_text(found, folder, system))
        text = with_gathered(text, gathered, folder, name=given["site_name"], street=given["street"])
        write_single_text(place, text)
        lines = description_lines(found, system) + look.lines() + gathered_lines(gathered, system)
    width = max(len(what) for what, _ in lines)
    tell("\n".join(f"{what.ljust(width)}  {value}" for what, value in lines))
    for warning in say_all((*look.warnings, *found.warnings), system):
        voice.note(f"Warning: {warning}")
    try:
        tell("\n".join(suggestion_lines(place, system)))
    except LotshedError as error:
        # the file is written all the same: what is amiss may be mended in it
        voice.note(f"Warning: as it stands, screen will refuse this: {error}")
    voice.note(f"Written to {place}; edit it, then: lotshed screen {place} --out DIR")


@dataclass(frozen=True, slots=True)
class _Look:
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
def _looked_at(
    voice: Voice, ground: tuple[Path, ...], parcel: Path, surface: Path | None, crs: str | None, asked: dict[str, Any],
    place: Path, units: "Units", overwrite: bool,
) -> Iterator[_Look]:  # fmt: skip
    """Look at a raster or at points; what is found in lidar is moved beside the site file once that is written."""
    from pipelines.deliverables.files.found_files import FoundPlaces, found_files
    from pipelines.inputs.describe import describe_inputs
    from pipelines.inputs.lidar_finds import ground_from_points, roofs_from_surface

    of_points = _are_points(ground, surface, crs)
    places = FoundPlaces.beside(place)
    if not of_points and surface is None:
        yield _Look(describe_inputs(ground[0], parcel, **asked), place, units, places.outlines)
        return
    places.check(ground=of_points, overwrite=overwrite)
    made = None
    with voice.progress() as progress:
        if surface is not None:
            progress("finding roofs in the surface", 0.3)
            found = roofs_from_surface(ground[0], surface, parcel, **asked)
        else:
            progress("reading points and making the ground; a large tile takes a minute", 0.3)
            made, found = ground_from_points(ground, parcel, crs=crs, **asked)
    with found_files(places, made, found, units) as (hidden, move):
        description = describe_inputs(hidden or ground[0], parcel, **asked)
        if hidden is not None:
            raster = replace(description.source, path=places.ground)
            description = replace(description, source=raster)
        yield _Look(description, place, units, places.outlines, made, found)
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
