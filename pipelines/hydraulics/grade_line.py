"""Energy and hydraulic grade line up a tree of pipes, from the tailwater through basins to the last grate."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from pipelines.hydraulics.access_hole import EnteringFlow, Floor, access_hole_energy
from pipelines.hydraulics.channel.barrel import Barrel, circular_barrel, critical_depth, normal_depth
from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_finite, require_not_negative, require_positive
from pipelines.hydraulics.manning import circular_segment, full_pipe_capacity

EXIT_LOSS_AT_BASIN = 0.4
EXIT_LOSS_AT_OUTFALL = 1.0
"""Velocity heads lost where a pipe ends. [-]"""

Regime = Literal["full", "part full", "supercritical"]


@dataclass(frozen=True, slots=True)
class GradeRun:
    """A run of round pipe between two ids.

    Attributes
    ----------
    id, from_id, to_id : str
        Its id, the basin it leaves, and the basin or outfall it ends in.
    flow : float
        [m3/s]
    diameter, length : float
        Inside diameter. [m]
    roughness : float
        Manning's n. [-]
    invert_up, invert_down : float
        [m]
    angle : float
        At its lower end, between it and the pipe that leaves there; 180 is straight through. [degree]
    """

    id: str
    from_id: str
    to_id: str
    flow: float
    diameter: float
    length: float
    roughness: float
    invert_up: float
    invert_down: float
    angle: float = 180.0

    @property
    def slope(self) -> float:
        """[-]"""
        return (self.invert_up - self.invert_down) / self.length


@dataclass(frozen=True, slots=True)
class GradeNode:
    """A basin, drain end or junction.

    Attributes
    ----------
    rim : float
        Level above which water comes out of it. [m]
    surface_flow : float
        What falls in through its grate. [m3/s]
    floor : str
        flat or depressed (with a sump).
    """

    rim: float
    surface_flow: float = 0.0
    floor: Floor = "depressed"


@dataclass(frozen=True, slots=True)
class RunGrade:
    """Grade line in a run.

    Attributes
    ----------
    regime : str
        full, part full or supercritical, at its upper end.
    energy_down, energy_up : float
        Energy line at its ends. [m]
    hydraulic_down, hydraulic_up : float
        Hydraulic grade line at its ends. [m]
    velocity : float
        At its upper end. [m/s]
    """

    regime: Regime
    energy_down: float
    energy_up: float
    hydraulic_down: float
    hydraulic_up: float
    velocity: float


@dataclass(frozen=True, slots=True)
class NodeGrade:
    """Water in a basin.

    Attributes
    ----------
    level : float
        Energy line in it, taken as the water's level. [m]
    freeboard : float
        Rim less level, negative where water comes out. [m]
    surcharged : bool
        Water comes out of it.
    """

    level: float
    freeboard: float
    surcharged: bool


@dataclass(frozen=True, slots=True)
class GradeLine:
    """Grade line of a whole tree.

    Attributes
    ----------
    runs, nodes : dict
        By id.
    """

    runs: dict[str, RunGrade]
    nodes: dict[str, NodeGrade]

    @property
    def surcharged(self) -> tuple[str, ...]:
        """Ids of basins that water comes out of."""
        return tuple(name for name, node in self.nodes.items() if node.surcharged)


def grade_line(
    runs: Sequence[GradeRun], nodes: Mapping[str, GradeNode], tailwater: float | Mapping[str, float]
) -> GradeLine:
    """Step the energy line up a tree of pipes from its outfalls.

    Parameters
    ----------
    runs : sequence of GradeRun
        Each node has one run that leaves it; an id that is no node is an outfall.
    nodes : mapping of str to GradeNode
        Basins by id.
    tailwater : float or mapping of str to float
        Level at every outfall, or by its id. [m]

    Returns
    -------
    GradeLine
        [m]

    Raises
    ------
    HydraulicsError
        If a number is out of range, a node has none or several runs that leave it, a run leaves no node, the tree runs
        in a circle, or an outfall has no tailwater.

    Notes
    -----
    Where a pipe runs full the friction slope is (Q/K)^2; where it is shooting, losses are not carried upstream and its
    upper end stands at normal depth; else the energy line rises with the pipe, at least at normal depth.

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, 3rd ed., 2009, sec. 7.1.6 and 7.5.
    """
    _check(runs, nodes)
    run_grades: dict[str, RunGrade] = {}
    node_grades: dict[str, NodeGrade] = {}
    for run in _upstream_order(runs, nodes):
        at_outfall = run.to_id not in nodes
        below = _tailwater(run, tailwater) if at_outfall else node_grades[run.to_id].level
        grade = _run_grade(run, below, at_outfall=at_outfall)
        run_grades[run.id] = grade
        node = nodes[run.from_id]
        entering = [EnteringFlow(other.flow, other.invert_down - run.invert_up, other.angle)
                    for other in runs if other.to_id == run.from_id]
        if node.surface_flow > 0:
            entering.append(EnteringFlow(node.surface_flow, node.rim - run.invert_up))
        energy = access_hole_energy(
            run.flow, run.diameter, outlet_energy=grade.energy_up - run.invert_up,
            velocity_head=grade.energy_up - grade.hydraulic_up, supercritical=grade.regime == "supercritical",
            entering=entering, floor=node.floor,
        )
        level = run.invert_up + energy
        node_grades[run.from_id] = NodeGrade(level, node.rim - level, level > node.rim)
    return GradeLine(run_grades, node_grades)


def _run_grade(run: GradeRun, below: float, *, at_outfall: bool) -> RunGrade:
    if run.flow == 0:
        up = max(below, run.invert_up)
        return RunGrade("part full", max(below, run.invert_down), up, max(below, run.invert_down), up, 0.0)
    barrel = circular_barrel(run.diameter)
    critical = critical_depth(barrel, run.flow)
    uniform = normal_depth(barrel, run.flow, run.slope, run.roughness) if run.slope > 0 else None
    if at_outfall:
        below = max(below, run.invert_down + (critical + run.diameter) / 2)
    loss = EXIT_LOSS_AT_OUTFALL if at_outfall else EXIT_LOSS_AT_BASIN
    if uniform is None or below > run.invert_down + run.diameter:
        return _full_run(run, below, loss, critical, uniform)
    return _part_full_run(run, barrel, below, loss, critical, uniform, at_outfall=at_outfall)


def _full_run(run: GradeRun, below: float, loss: float, critical: float, uniform: float | None) -> RunGrade:
    """A run whose lower end is submerged, or that carries its flow only under pressure."""
    head = _velocity_head(run, run.diameter)
    # a pipe too small for its flow fills to the mean of critical depth and crown even with nothing below it
    at_least = run.invert_down + (critical + run.diameter) / 2 + head
    down = max(below + loss * head, at_least if uniform is None else below)
    up = down + run.length * (run.flow / full_pipe_capacity(run.diameter, 1.0, run.roughness)) ** 2
    if uniform is None or up - head >= run.invert_up + run.diameter:
        # where the line dips under the crown of a pipe that is too small, its upper end still asks for critical energy
        up = max(up, run.invert_up + critical + _velocity_head(run, critical))
        return RunGrade("full", down, up, down - head, up - head, _velocity(run, run.diameter))
    if up - head > run.invert_up + max(uniform, critical):
        return RunGrade("part full", down, up, down - head, up - head, _velocity(run, run.diameter))
    return _at_normal_depth(run, down, down - head, uniform, critical)


def _part_full_run(
    run: GradeRun, barrel: Barrel, below: float, loss: float, critical: float, uniform: float, *, at_outfall: bool
) -> RunGrade:
    """A run with air above the water at its lower end."""
    depth = below - run.invert_down
    head = _velocity_head(run, uniform)
    if depth <= critical:
        down = run.invert_down + uniform + head
    elif depth <= uniform:
        down = max(below + loss * head, run.invert_down + uniform + head)
    else:
        face = _velocity_head(run, min(depth, barrel.rise))
        down = below + loss * face + (face if at_outfall else 0.0)
        head = face
    if uniform <= critical:
        return _at_normal_depth(run, down, down - head, uniform, critical)
    up = down + run.length * run.slope
    hydraulic = up - head
    if hydraulic >= run.invert_up + run.diameter:
        return RunGrade("full", down, up, down - head, hydraulic, _velocity(run, run.diameter))
    if hydraulic > run.invert_up + uniform:
        return RunGrade("part full", down, up, down - head, hydraulic, _velocity(run, hydraulic - run.invert_up))
    return _at_normal_depth(run, down, down - head, uniform, critical)


def _at_normal_depth(run: GradeRun, down: float, hydraulic_down: float, uniform: float, critical: float) -> RunGrade:
    head = _velocity_head(run, uniform)
    # energy never falls on the way up, whatever stands below
    up = max(run.invert_up + uniform + head, down)
    regime: Regime = "supercritical" if uniform <= critical else "part full"
    return RunGrade(regime, down, up, hydraulic_down, up - head, _velocity(run, uniform))


def _velocity(run: GradeRun, depth: float) -> float:
    return run.flow / circular_segment(depth, run.diameter).area


def _velocity_head(run: GradeRun, depth: float) -> float:
    return _velocity(run, depth) ** 2 / (2 * GRAVITY)


def _tailwater(run: GradeRun, tailwater: float | Mapping[str, float]) -> float:
    if not isinstance(tailwater, Mapping):
        return tailwater
    if run.to_id not in tailwater:
        raise HydraulicsError(f"run {run.id!r} ends in {run.to_id!r}, which is no node and has no tailwater")
    return tailwater[run.to_id]


def _upstream_order(runs: Sequence[GradeRun], nodes: Mapping[str, GradeNode]) -> list[GradeRun]:
    ordered: list[GradeRun] = [run for run in runs if run.to_id not in nodes]
    for run in ordered:
        ordered.extend(other for other in runs if other.to_id == run.from_id)
    if len(ordered) < len(runs):
        lost = sorted({run.id for run in runs} - {run.id for run in ordered})
        raise HydraulicsError(f"runs {', '.join(lost)} lead to no outfall: the tree runs in a circle")
    return ordered


def _check(runs: Sequence[GradeRun], nodes: Mapping[str, GradeNode]) -> None:
    leaving = [run.from_id for run in runs]
    faults = [f"node {name!r} has {leaving.count(name)} runs that leave it, it must have one"
              for name in nodes if leaving.count(name) != 1]
    faults += [f"run {run.id!r} leaves {run.from_id!r}, which is no node" for run in runs if run.from_id not in nodes]
    if faults:
        raise HydraulicsError("; ".join(faults))
    for run in runs:
        require_positive(diameter=run.diameter, length=run.length, roughness=run.roughness)
        require_not_negative(flow=run.flow)
        require_finite(invert_up=run.invert_up, invert_down=run.invert_down)
