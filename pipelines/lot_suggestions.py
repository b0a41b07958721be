"""What a site file may go on with: where the street is taken to be, where water may leave, what else to give."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipelines.inputs.site_file import SiteFile
from pipelines.layout.plan import Said
from pipelines.layout.ways.outfall_water import candidates
from pipelines.layout.ways.outlets.found_low_line import odds_of
from pipelines.lot_inputs import open_lot, street_told
from pipelines.lot_stages import LotStages
from terrain.reason import Reason, reason

WORTH = (
    "roofs", "hardscape", "complaints", "outfalls", "right_of_way", "house", "rain", "soil", "downspouts", "utilities",
    "keep_out", "culverts",
)  # fmt: skip
"""Tables by what the answer gains from them, most first: common practice, no source."""


GROUNDS = 20
"""On which it is counted whether a low line is there, fewer than for an answer. [-]"""


@dataclass(frozen=True, slots=True)
class Suggestions:
    """What to tell of a lot before it is screened.

    Attributes
    ----------
    street : tuple of Said
        Where the street is taken to be, or that somebody must say.
    outfalls : tuple of Reason
        Places where water may leave, found in the ground; none where somebody gave outfalls.
    gains : tuple of Reason
        What the answer would gain from, most first.
    """

    street: tuple[Said, ...]
    outfalls: tuple[Reason, ...]
    gains: tuple[Reason, ...]


def suggest_for_lot(path: Path) -> Suggestions:
    """Look along a lot's frontage, and at what its site file leaves out."""
    stages = LotStages(open_lot(path, grounds=GROUNDS))
    opened = stages.lot.opened
    site, layers = opened.site, opened.layers
    found, _ = candidates(layers, stages.situation)
    odds = odds_of([each.point for each in found if not each.given], stages.situation)
    frame = opened.source.grid.frame
    places = []
    for each in found:
        if not each.given:
            at, told = frame.to_map(each.point), each.to_confirm
            places.append(
                reason(
                    "outfall_candidate", easting=at.x, northing=at.y, distance=told["distance"], side=told["side"],
                    falls=told["falls"], share=odds.get(each.point), kind=told["kind"], deep=told["deep"],
                )
            )
    street = () if site.right_of_way is not None else tuple(street_told(layers.frontage))
    asks = site.right_of_way is None and layers.frontage.state not in ("found", "said")
    return Suggestions(street, tuple(places), tuple(_gains(site, asks=asks)))


def _gains(site: SiteFile, *, asks: bool) -> Iterator[Reason]:
    if asks:
        yield reason("gain_street")
    given = {
        "house": site.house.foundation is not None or site.house.floor is not None,
        "rain": site.rain.table is not None or site.rain.depth is not None,
        "soil": site.soil.group is not None or site.soil.file is not None,
    }
    for table in WORTH:
        if not given.get(table, getattr(site, table) is not None if table not in given else False):
            yield reason("gain", table=table)
