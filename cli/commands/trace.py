"""lotshed trace: a page to draw on what the files don't say."""

from pathlib import Path

import click

from cli import interrupt
from cli.options import overwrite_option, talk_options
from cli.streams import tell
from cli.voice import Voice

TO_END = 3.0
"""What the server may take to end by itself, while a lot is screened beside it. [s]"""


@click.command("trace")
@click.argument("site", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="PAGE.html",
    help="Page to write  [default: trace.html by SITE.toml]",
)
@click.option("--live", is_flag=True, help="Serve the page on this machine alone, and answer as one draws.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Of the live page  [default: a free one]")
@overwrite_option
@talk_options
@click.pass_obj
def command(voice: Voice, site: Path, out: Path | None, live: bool, port: int, overwrite: bool) -> None:
    """Write a page on which roofs, paving, downspouts, wet places and the rest are drawn over the lot's ground.

    The page needs no network: open it in a browser, draw by mouse, touch or keys, and save traced.geojson (longitude
    and latitude, lengths in metres). Put that file beside the site file and name it there:
    `[traced]` and below it `file = "traced.geojson"`. It stands in the place of every table that was drawn or
    corrected. Numbers on the page follow `units` of the site file.

    With --live the page is served at an address that only this machine can open: what is drawn is kept beside the site
    file as it is drawn, each change is screened, and the answer stands beside the map, until Ctrl-C ends it.

    \b
    Example:
      lotshed trace sample_data/lot_07.toml --out /tmp/trace.html
    """
    if live:
        from pipelines.tracing.live.server import serve_live

        def told(address: str, screened: Path, traced: Path) -> None:
            tell(f"Open {address}")
            voice.note(f"Drawn shapes are kept in {traced}; {screened} is what is screened. Ctrl-C ends it.")

        interrupt.give_time(TO_END)
        try:
            serve_live(site, port=port, told=told)
        except KeyboardInterrupt:
            voice.note("Stopped; what was drawn is kept.")
        return
    from pipelines.deliverables.files.place import check_file_place

    place = site.parent / "trace.html" if out is None else out
    check_file_place(place, ending=".html", overwrite=overwrite)

    from pipelines.deliverables.files.single_file import write_single_text
    from pipelines.tracing.page import trace_page

    with voice.progress() as progress:
        progress("Reading the ground and following its water ...", None)
        write_single_text(place, trace_page(site))
    tell(f"Written to {place}: open it in a browser, draw, and save traced.geojson beside {site}.")
    voice.note('Then add to the site file:\n\n    [traced]\n    file = "traced.geojson"')
