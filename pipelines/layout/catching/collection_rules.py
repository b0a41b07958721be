"""Sizes and distances of what collects."""

from dataclasses import dataclass

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import Rules

DRAIN_PIPE = "4 in D2729 perforated"


@dataclass(frozen=True, slots=True)
class CollectionRules:
    """Sizes and distances of what collects; the rules of the trade say what each is.

    Attributes
    ----------
    edge_offset, wall_offset : float
        From paving to the middle of a stone trench, from a wall to the nearest stone. [m]
    overlap : float
        Of a trench past the water at either end. [m]
    width, depth, bedding : float
        Of a stone trench, and the stone under its pipe. [m]
    least_slope : float
        Of its pipe. [-]
    deepest, shortest : float
        Trenches beyond these are not proposed. [m]
    arrival_share, cluster_share : float
        Of the arriving water: what a trench must face, and what is concentrated at one place. [-]
    cluster_reach : float
        How far one place reaches. [m]
    basin_reach : float
        A basin takes the water that comes this near its grate. [m]
    apart, basin_snap : float
        Between two basins; how far one may be moved off an edge or a keep-out. [m]
    leaf_reach, shot_reach : float
        A tree drops leaves on a grate, a shot was read in a low spot, this near. [m]
    small_hollow : float
        A hollow in a lawn smaller than this is filled rather than drained. [m2]
    paved_share : float
        Of the water at a wall that must come over paving for a grated channel. [-]
    channel_width, channel_depth, channel_shortest : float
        [m]
    """

    edge_offset: float
    wall_offset: float
    overlap: float
    width: float
    depth: float
    bedding: float
    least_slope: float
    deepest: float
    shortest: float
    arrival_share: float
    cluster_share: float
    cluster_reach: float
    basin_reach: float
    apart: float
    basin_snap: float
    leaf_reach: float
    shot_reach: float
    small_hollow: float
    paved_share: float
    channel_width: float
    channel_depth: float
    channel_shortest: float


def collection_rules(rules: Rules, foundation: str | None, footing_depth: float | None) -> CollectionRules:
    """Sizes and distances of what collects, by the rules of the trade and the foundation.

    Stone beside a slab stays outside the footing's 45-degree plane; from a crawl space, a basement or an unknown
    foundation it keeps 4 ft.

    References
    ----------
    .. [1] Influence plane at 45 degrees: Uniform Plumbing Code 314.1, International Residential Code P2604.4.
    """
    deepest = rules["depth_hand_dig"].likely
    bedding = rules["stone_under_pipe"].likely
    if foundation == "slab":
        # the deepest trench proposed, so that the plane is kept along the whole of it
        footing = footing_depth if footing_depth is not None else rules["slab_footing_depth"].likely
        offset = max(rules["slab_stone_offset"].likely, deepest - footing)
    else:
        offset = rules["stone_wall_offset"].likely
    return CollectionRules(
        edge_offset=rules["trench_edge_offset"].likely,
        wall_offset=offset,
        overlap=rules["trench_overlap"].likely,
        width=rules["trench_width_stone"].likely,
        depth=max(
            rules["trench_depth_stone"].low, bedding + find_pipe(DRAIN_PIPE).outside + rules["stone_over_pipe"].likely
        ),
        bedding=bedding,
        least_slope=rules["slope_4in_smooth"].low,
        deepest=deepest,
        shortest=rules["trench_shortest"].likely,
        arrival_share=rules["arrival_share"].likely,
        cluster_share=rules["arrival_cluster_share"].likely,
        cluster_reach=rules["arrival_cluster"].likely,
        basin_reach=rules["basin_reach"].likely,
        apart=rules["basin_apart"].likely,
        basin_snap=rules["basin_snap"].likely,
        leaf_reach=rules["leaf_reach"].likely,
        shot_reach=rules["shot_reach"].likely,
        small_hollow=rules["small_hollow"].likely,
        paved_share=rules["channel_paved_share"].likely,
        channel_width=rules["channel_width"].likely,
        channel_depth=rules["channel_depth"].likely,
        channel_shortest=rules["channel_shortest"].likely,
    )
