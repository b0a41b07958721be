"""Is what is complained of surface water? What works on the surface cure, what they may not, what is referred out."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import Point

from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from terrain.ground import OPEN
from terrain.reason import Reason, reason

INSIDE = ("basement", "crawl_space")
_INSIDE_WORDS = ("basement", "crawl", "cellar")
_SIGNS = ("never dries", "without rain", "damp wall", "seep", "spring", "all year")
_ALWAYS_WORDS = ("never dries", "without rain", "all year")
_RAIN_WORDS = ("gutter", "downspout", "in rain", "when it rains", "every storm")
_KEPT_OFF = {
    "sinkhole": reason("refer_sinkhole"),
    "flood": reason("refer_floodplain"),
    "tide": reason("refer_tidal_water"),
    "wetland": reason("refer_wetland"),
}


@dataclass(frozen=True, slots=True)
class Cause:
    """Whether the whole lot's trouble is surface water.

    Attributes
    ----------
    state : str
        no where it is referred out; not_needed where there is neither a trouble nor a complaint.
    why : Reason
        What decides the state.
    doubts : tuple of Reason
        Every complaint that works on the surface may not cure.
    """

    state: Literal["sure", "cannot_tell", "no", "not_needed"]
    why: Reason
    doubts: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Complaint:
    """What was seen at or by the lot, where in or outside the house and when; empty where nobody said."""

    point: Point
    seen: Reason
    where: str
    season: str

    @property
    def words(self) -> str:
        """What was said of it."""
        return str(self.seen["what"]).lower()


def cause_of(site: SiteFile, layers: SiteLayers, situation: Situation, found: Diagnosis) -> Cause:
    """Whether what is wrong, and what is complained of, is surface water."""
    complaints = tuple(_complaints(layers, situation))
    if not complaints and not found.troubles:
        return Cause("not_needed", reason("part_not_needed"))
    doubts = tuple(
        doubt
        for each in complaints
        if not any(_referred(each, layers, situation))
        and (doubt := _doubt(each, site, layers, situation, found)) is not None
    )
    referred = reasons_to_refer(layers, situation)
    if referred:
        return Cause("no", referred[0], doubts)
    if doubts:
        return Cause("cannot_tell", doubts[0], doubts)
    places = tuple(dict.fromkeys(trouble.name for trouble in found.troubles))
    if not places:
        return Cause("sure", reason("rain_explains_it", seen=tuple(each.seen for each in complaints)))
    return Cause("sure", reason("cause_is_rain", places=places))


def reasons_to_refer(layers: SiteLayers, situation: Situation) -> tuple[Reason, ...]:
    """What is no surface water for sure, or no ground to drain: referred out, each with its reason."""
    told = [each for complaint in _complaints(layers, situation) for each in _referred(complaint, layers, situation)]
    kinds = layers.keep_out[layers.keep_out.intersects(layers.parcel)]["kind"].str.lower()
    return (*told, *(why for key, why in _KEPT_OFF.items() if kinds.str.contains(key).any()))


def _complaints(layers: SiteLayers, situation: Situation) -> Iterator[Complaint]:
    reach = situation.rules["complaint_reach"].likely
    rows = zip(situation.complaints, layers.complaints["where"], layers.complaints["season"], strict=True)
    for (point, seen), where, season in rows:
        if shapely.distance(situation.parcel, point) <= reach:
            yield Complaint(point, seen, where, season)


def _referred(complaint: Complaint, layers: SiteLayers, situation: Situation) -> Iterator[Reason]:
    seen, lasts = complaint.seen, complaint.season in ("days_after", "always")
    if complaint.where in (*INSIDE, "wall") and "crack" in complaint.words:
        yield reason("refer_cracks", seen=seen)
    septic = layers.keep_out[layers.keep_out["kind"].str.contains("septic", case=False)]
    near = septic.distance(complaint.point) <= situation.rules["complaint_reach"].likely
    if lasts and complaint.where not in INSIDE and near.any():
        yield reason("refer_septic", seen=seen)
    if complaint.where not in INSIDE:
        return
    rise = _hill_above(situation)
    if (lasts or complaint.season == "thaw") and rise > situation.rules["refer_hillside_rise"].likely:
        yield reason("refer_hillside_water", seen=seen, rise=rise)
    elif complaint.season == "always":
        yield reason("refer_seepage", seen=seen)


def _doubt(
    complaint: Complaint, site: SiteFile, layers: SiteLayers, situation: Situation, found: Diagnosis
) -> Reason | None:
    """Why works on the surface may not cure it, where the terrain leaves that open."""
    words, seen = complaint.words, complaint.seen
    inside = complaint.where in INSIDE or (not complaint.where and any(each in words for each in _INSIDE_WORDS))
    always = complaint.season == "always" or (not complaint.season and any(each in words for each in _ALWAYS_WORDS))
    lasting = complaint.season in ("days_after", "thaw")
    if always and _on_clay(complaint.point, site, layers):
        return reason("never_dries_on_clay", seen=seen)
    if inside and complaint.season != "in_rain":
        rise = _hill_above(situation)
        if rise > situation.rules["refer_hillside_rise"].likely:
            return reason("may_be_hillside_water", seen=seen, rise=rise)
    if (not complaint.where and any(each in words for each in _INSIDE_WORDS)) or (
        not complaint.season and any(sign in words for sign in _SIGNS)
    ):
        return reason("may_be_ground_water", seen=seen)
    if inside:
        explained = _wet_at_wall(found, lasting=always or lasting)
    elif complaint.season == "in_rain" or (not complaint.season and any(each in words for each in _RAIN_WORDS)):
        explained = True
    else:
        explained = _wet_near(complaint.point, found, always=always, lasting=lasting)
    if explained:
        return None
    return reason("surface_may_not_cure", seen=seen, inside=inside, lasts=always or complaint.season == "days_after")


def _wet_near(point: Point, found: Diagnosis, *, always: bool, lasting: bool) -> bool:
    """Rain fills a low spot there, in the design storm; one that holds it as long as the complaint says."""
    reach = found.rules.complaint_reach
    ponds = [
        found.water.standing[name]
        for name, place in found.places.items()
        if name in found.water.standing and shapely.distance(place.shape, point) <= reach
    ]
    if any(water.depth > found.rules.film and (water.stands_at_end or not always) for water in ponds):
        return True
    edges = [trouble.edge for trouble in found.troubles if trouble.edge is not None]
    return not always and not lasting and any(shapely.distance(edge.shape, point) <= reach for edge in edges)


def _wet_at_wall(found: Diagnosis, *, lasting: bool) -> bool:
    """Water stands at a wall of the house in the design storm, or runs at one where that is all that was seen."""
    ponds = [trouble.spot for trouble in found.troubles if trouble.spot is not None]
    edges = [trouble.edge for trouble in found.troubles if trouble.edge is not None and not lasting]
    return any(pond.sill_distance <= found.rules.wall_reach for pond in ponds) or any(
        edge.kind == "wall" for edge in edges
    )


def _on_clay(point: Point, site: SiteFile, layers: SiteLayers) -> bool:
    """Soil of group D, or of one that is D undrained; or clay by the site file."""
    here = layers.soils[layers.soils.intersects(point)]["group"]
    group = str(here.iloc[0]) if len(here) else site.soil.group or ""
    return group.endswith("D") or site.layout.soil == "clay"


def _hill_above(situation: Situation) -> float:
    """How far the ground above the house stands over the lowest ground at its walls. [m]"""
    if situation.houses.is_empty:
        return 0.0
    ground, rules = situation.drainage.ground, situation.rules
    heights = np.where(ground.kind == OPEN, ground.elevation, np.nan)
    beside, around = (
        heights[mask_of(shapely.buffer(situation.houses, rules[reach].likely), situation.grid)]
        for reach in ("beside_reach", "refer_hillside_reach")
    )
    if not np.isfinite(beside).any():
        return 0.0
    return float(np.nanmax(around) - np.nanmin(beside))
