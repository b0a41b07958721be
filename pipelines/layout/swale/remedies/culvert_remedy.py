"""What would do where a drive's culvert is too small: clearing it, the least standard size, or more of them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import Culvert, culvert_flow
from pipelines.hydraulics.channel.culvert_sizes import CulvertSize, culverts_named
from pipelines.inputs.rules import Rules
from pipelines.layout.quantities.take_off import UnitPrice
from pipelines.layout.swale.judgement import CrossingFinding
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.swale_costs import PricedJob, cost_of_cleaning, cost_of_culvert
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class CulvertRemedy:
    """What would carry the storm under a drive.

    Attributes
    ----------
    size : CulvertSize or None
        None where none would do, or where clearing the silt does.
    barrels : int
        Side by side; 0 where none would do.
    headwater : float or None
        Level above it then. [m]
    raised : float
        How much higher the drive must lie for the cover over it. [m]
    cost : PricedJob or None
        None where none would do.
    why : Reason
        The same in a sentence.
    """

    size: CulvertSize | None
    barrels: int
    headwater: float | None
    raised: float
    cost: PricedJob | None
    why: Reason


def culvert_remedy(
    site: SwaleSite, finding: CrossingFinding, prices: Mapping[str, UnitPrice], rules: Rules
) -> CulvertRemedy | None:
    """The least that keeps the storm below a drive, with its price; None where the drive is not overtopped.

    A new culvert lies where the present one does, clear of its silt, of the same inside and inlet. The fewest barrels
    are tried first, the smallest size of each that carries the flow with no water over the drive. Where none also
    leaves the cover over it, that which asks for least more ground over it is named with that height.
    """
    culvert = finding.crossing.drive.culvert
    if culvert is None or finding.over <= 0.0:
        return None
    brim, silt = finding.crossing.ridge.lowest, culvert.barrel.silt
    clear = replace(
        culvert, barrel=circular_barrel(culvert.barrel.diameter), invert_up=culvert.invert_up - silt,
        invert_down=culvert.invert_down - silt,
    )  # fmt: skip
    if silt > 0.0:
        level = culvert_flow(clear, finding.flow, tailwater=finding.tailwater).headwater
        if level <= brim:
            cost = cost_of_cleaning(length=clear.length, prices=prices, rules=rules)
            why = reason(
                "swale_culvert_cleared", below=brim - level, low=cost.low, likely=cost.likely, high=cost.high
            )
            return CulvertRemedy(None, 1, level, 0.0, cost, why)
    found = _least_that_carries(site, finding, clear, rules)
    if found is None:
        most = culverts_named(rules["swale_culvert_sizes"].names)[-1].inside
        barrels = int(rules["swale_culvert_most_barrels"].likely)
        return CulvertRemedy(None, 0, None, 0.0, None, reason("swale_no_culvert_carries", barrels=barrels, size=most))
    raised, barrels, size, level = found
    depth = brim + raised - clear.invert_up
    cost = cost_of_culvert(size, barrels, length=clear.length, depth=depth, prices=prices, rules=rules)
    why = reason(
        "swale_culvert_that_does", barrels=barrels, size=size.inside, below=brim + raised - level, raised=raised,
        cover=rules["swale_culvert_cover"].likely, low=cost.low, likely=cost.likely, high=cost.high,
    )  # fmt: skip
    return CulvertRemedy(size, barrels, level, raised, cost, why)


def _least_that_carries(
    site: SwaleSite, finding: CrossingFinding, clear: Culvert, rules: Rules
) -> tuple[float, int, CulvertSize, float] | None:
    """How much the drive must be raised for it, barrels, size, and the level above it. [m]"""
    brim, cover = finding.crossing.ridge.lowest, rules["swale_culvert_cover"].likely
    apart, room = rules["swale_culvert_apart"].likely, site.sections[finding.crossing.above].width
    found = []
    for barrels in range(1, int(rules["swale_culvert_most_barrels"].likely) + 1):
        for size in culverts_named(rules["swale_culvert_sizes"].names):
            if size.inside < clear.barrel.diameter - 1e-3 and barrels == 1:
                continue
            if barrels > 1 and barrels * size.outside + (barrels - 1) * apart > room:
                break
            tried = replace(clear, barrel=circular_barrel(size.inside))
            level = culvert_flow(tried, finding.flow / barrels, tailwater=finding.tailwater).headwater
            if level > brim:
                continue
            crown = max(clear.invert_up, clear.invert_down) + (size.inside + size.outside) / 2.0
            raised = max(crown + cover - brim, 0.0)
            found.append((raised, barrels, size, level))
            # a larger size needs more cover still
            break
    return min(found, key=lambda each: (each[0], each[1]), default=None)
