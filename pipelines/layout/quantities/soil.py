"""What works on the surface take: alone, or beside pipes that are laid on the same job."""

from collections.abc import Sequence

from pipelines.inputs.rules import Rules
from pipelines.layout.parts import SurfaceWork
from pipelines.layout.quantities.quantities import LABOUR, Quantity, merged

ONCE = ("mobilisation", f"{LABOUR}, set-up")
"""What a job takes once, whatever is done on it."""


def beside_pipes(pipes: Sequence[Quantity], works: Sequence[SurfaceWork], rules: Rules) -> tuple[Quantity, ...]:
    """What pipes take, and what works on the surface of the same job take more."""
    soil = soil_quantities(works, rules) if works else ()
    return tuple(merged([*pipes, *(each for each in soil if not pipes or each.item not in ONCE)]))


def soil_quantities(works: Sequence[SurfaceWork], rules: Rules) -> tuple[Quantity, ...]:
    """Soil, seed, pipe and hours that the works take."""
    fill, cut = sum(work.fill for work in works), sum(work.cut for work in works)
    area, pipe = sum(work.area for work in works), sum(work.length for work in works if work.kind == "extension")
    moved = (fill + cut) / rules["soil_rate"].likely + area / rules["seed_rate"].likely
    edging = sum(work.length for work in works if work.kind == "raised edge")
    extensions = sum(work.kind == "extension" for work in works)
    items = (
        Quantity("4 in corrugated pipe", pipe * (1.0 + rules["waste_pipe"].likely), "length", "material"),
        # what is dug is used again where it can be
        Quantity("topsoil in place", max(fill - cut, 0.0), "earth", "material"),
        Quantity("seed and straw", area, "area", "material"),
        Quantity("raised edging", edging, "length", "material"),
        Quantity("mobilisation", 1.0, "job", "hired"),
        Quantity(f"{LABOUR}, set-up", rules["set_up_hours"].likely, "hours", "hired"),
        Quantity(f"{LABOUR}, soil", moved, "hours", "hired"),
        Quantity(f"{LABOUR}, edging", edging / rules["edging_rate"].likely, "hours", "hired"),
        Quantity(f"{LABOUR}, extensions", extensions * rules["extension_hours"].likely, "hours", "hired"),
        Quantity("spoil disposal, loose", max(cut - fill, 0.0) * (1.0 + rules["swell_earth"].likely), "earth", "hired"),
    )
    return tuple(each for each in items if each.amount > 0.0)
