"""Trenches and pits that are deep enough to ask for a way out or for protection."""

from collections.abc import Sequence

from pipelines.inputs.rules import Rules
from pipelines.layout.plan import FrenchDrain, PipeRun, Sump
from terrain.reason import Reason, reason


def deep_trenches(
    runs: Sequence[PipeRun], drains: Sequence[FrenchDrain], sumps: Sequence[Sump], rules: Rules
) -> tuple[Reason, ...]:
    """What a crew must know of trenches and of pits for sump basins that are deep.

    References
    ----------
    .. [1] OSHA 29 CFR 1926.651(c)(2), (j)(2) and 1926.652(a)(1).
    """
    depths = {run.id: run.deepest for run in runs}
    depths |= {drain.id: drain.depth for drain in drains}
    depths |= {sump.id: sump.ground_elevation - sump.bottom_elevation for sump in sumps}
    from_depth, protect = rules["depth_egress"].likely, rules["depth_protection"].likely
    deep = {name: depth for name, depth in depths.items() if depth >= from_depth}
    if not deep:
        return ()
    return (
        reason(
            "deep_trenches", digs=tuple(deep), deepest=max(deep.values()), egress=from_depth,
            spoil=rules["spoil_offset"].likely, protection=protect, protected=max(deep.values()) >= protect,
        ),
    )
