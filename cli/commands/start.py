"""lotshed start: look at the two files that everyone has, and write a site file."""

from pathlib import Path

import click

from cli.looked_at import looked_at
from cli.options import overwrite_option, talk_options
from cli.voice import Voice


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
    "--units", type=click.Choice(["us", "si"]), default="us", show_default=True, help="Units of what is handed over."
)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Site file to write  [default: site.toml by PARCEL]"
)
@overwrite_option
@talk_options
@click.pass_obj
def command(
    voice: Voice,
    ground: tuple[Path, ...],
    parcel: Path,
    surface: Path | None,
    crs: str | None,
    layer: str | None,
    where: str | None,
    unit: str | None,
    units: str,
    out: Path | None,
    overwrite: bool,
) -> None:
    """Look at a ground raster or tiles of lidar points and a parcel file, say what they are, and write a site file.

    The ground may be any raster that GDAL reads, or one or several tiles of points (LAS, LAZ, COPC) with classes; the
    parcel any vector file; each may be in its own CRS. Of points the ground within 200 m of the lot is written as
    ground.tif in the tile's own vertical unit, and the roofs found as found.gpkg, both beside the site file. The site
    file runs as it is, and its comments say what else can be added: rain, outfalls and so on.

    Several tiles and a parcel go as in: lotshed start tile_1.laz tile_2.laz parcels.gpkg --where "lot = 7"

    \b
    Example:
      lotshed start sample_data/ground.tif sample_data/neighbourhood.gpkg --layer parcels --where "lot = 7" \\
          --out /tmp/site.toml
    """
    from pipelines.deliverables.files.single_file import check_file_place, write_single_text
    from pipelines.deliverables.files.site_file_text import description_lines, site_file_text
    from pipelines.deliverables.unit_systems import unit_system
    from pipelines.deliverables.words.say import say_all

    place = parcel.parent / "site.toml" if out is None else out
    check_file_place(place, ending=".toml", overwrite=overwrite)
    system = unit_system(units)
    asked = {"layer": layer, "where": where, "unit": unit}
    with looked_at(voice, ground, parcel, surface, crs, asked, place, system, overwrite) as look:
        found = look.description
        write_single_text(place, look.named(site_file_text(found, place.resolve().parent, system)))
        lines = description_lines(found, system) + look.lines()
    width = max(len(what) for what, _ in lines)
    click.echo("\n".join(f"{what.ljust(width)}  {value}" for what, value in lines))
    for warning in say_all((*look.warnings, *found.warnings), system):
        voice.note(f"Warning: {warning}")
    voice.note(f"Written to {place}; edit it, then: lotshed screen {place} --out DIR")
