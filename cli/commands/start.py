"""lotshed start: look at the two files that everyone has, and write a site file."""

from pathlib import Path
from typing import Any

import click

from cli.gather_options import gather_options, gathered_of, suggestion_lines
from cli.looked_at import looked_at
from cli.options import allow_linked_option, overwrite_option, talk_options
from cli.streams import tell
from cli.voice import Voice


def _write_sample(ctx: click.Context, _: click.Parameter, folder: Path | None) -> None:
    if folder is None or ctx.resilient_parsing:
        return
    from pipelines.deliverables.files.sample_lot import write_sample_lot

    site = write_sample_lot(folder)
    tell(f"Written to {folder}: an invented lot with its ground and layers. Now: lotshed screen {site} --out DIR")
    ctx.exit()


@click.command("start")
@click.argument("ground", metavar="GROUND.tif|TILE.laz...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.argument("parcel", metavar="PARCEL", type=click.Path(path_type=Path))
@click.option(
    "--sample", type=click.Path(path_type=Path), metavar="DIR", is_eager=True, expose_value=False,
    callback=_write_sample,
    help="Write the sample lot into a new or empty folder instead, and nothing else: something to try at once.",
)
@click.option("--layer", help="Layer of the parcel file, where it holds several.")
@click.option("--where", help="Expression that selects the lot, as GDAL takes it, such as \"lot = 7\".")
@click.option("--parcel-crs", help="CRS of the parcel file, where it names none, such as EPSG:2227 of a DXF.")
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
    parcel_crs: str | None,
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

    Several tiles and a parcel go as in: lotshed start tile_1.laz tile_2.laz parcels.gpkg --where "lot = 7"

    \b
    Example:
      lotshed start sample_data/ground.tif sample_data/neighbourhood.gpkg --layer parcels --where "lot = 7" \\
          --roofs sample_data/neighbourhood.gpkg --rain sample_data/rain.csv --out /tmp/site.toml
    """
    from pipelines.deliverables.files.place import check_file_place

    place = parcel.parent / "site.toml" if out is None else out
    check_file_place(place, ending=".toml", overwrite=overwrite)

    from pipelines.deliverables.files.gathered_text import gathered_lines, with_gathered
    from pipelines.deliverables.files.single_file import write_single_text
    from pipelines.deliverables.files.site_file_text import description_lines, site_file_text
    from pipelines.deliverables.unit_systems import unit_system
    from pipelines.deliverables.words.say import say_all
    from pipelines.inputs.gathering import units_of_map
    from terrain.errors import LotshedError

    system = unit_system(units or units_of_map(parcel, layer, ground, crs=parcel_crs))
    asked = {"layer": layer, "where": where, "parcel_crs": parcel_crs, "unit": unit}
    with looked_at(voice, ground, parcel, surface, crs, asked, place, system, overwrite) as look:
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
