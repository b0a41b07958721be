"""How deep a stone trench is, and how far it keeps from a wall."""

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import Rules

DRAIN_PIPE = "4 in D2729 perforated"


def trench_depth(rules: Rules) -> float:
    """The trade's least depth of a stone trench, but room for its pipe with stone under and over it. [m]"""
    room = rules["stone_under_pipe"].likely + find_pipe(DRAIN_PIPE).outside + rules["stone_over_pipe"].likely
    return max(rules["trench_depth_stone"].likely, room)


def stone_offset(rules: Rules, foundation: str | None, footing_depth: float | None) -> float:
    """Distance that stone keeps from a wall. [m]

    Beside a slab it stays outside the footing's 45-degree plane; from a crawl space, a basement or an unknown
    foundation it keeps 4 ft.

    References
    ----------
    .. [1] Influence plane at 45 degrees: Uniform Plumbing Code 314.1, International Residential Code P2604.4.
    """
    if foundation != "slab":
        return rules["stone_wall_offset"].likely
    footing = footing_depth if footing_depth is not None else rules["slab_footing_depth"].likely
    # below the deepest trench proposed, so that the plane is kept along the whole of it
    return max(rules["slab_stone_offset"].likely, rules["depth_hand_dig"].likely - footing)
