"""The design storm with a lift in it: what reaches the sump, and with how little of it the troubles still end."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipelines.hydrology.hydrographs import add_hydrographs
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.layout.catching.design_flows import run_with_works, works_division
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.cured import troubles_left
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.ways.way_values import WayInputs

HALVINGS = 6
"""Of the share of their flow that hollows must be drained with: to 1/64 of it. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class LiftStorm:
    """The design storm with some collectors led to a sump, and others off by gravity.

    A low spot's basin may pass less than its design flow, since the hollow stores the rest; what runs by a drain or a
    basin on its path is taken at once or not at all. So a share of the flow here is of the low spots' alone.

    Attributes
    ----------
    inputs : WayInputs
        What the way is laid out from.
    lifted : tuple of str
        Ids of the collectors led to the sump.
    catching : Catching
        These and what leaves by gravity.
    division : Division
        The ground with them in place.
    """

    inputs: WayInputs
    lifted: tuple[str, ...]
    catching: Catching
    division: Division
    _known: dict[float, LotWater] = field(default_factory=dict)

    @property
    def total(self) -> float:
        """Sum of the design flows that are lifted. [m3/s]"""
        return sum(self.inputs.flows.flows[name] for name in self.lifted)

    def flows(self, share: float) -> dict[str, float]:
        """What each lifted collector passes on. [m3/s]"""
        flows, ponds = self.inputs.flows.flows, self._ponds()
        return {name: flows[name] * (share if name in ponds else 1.0) for name in self.lifted}

    def share_of(self, delivered: float) -> float:
        """Share at which no more than a flow reaches the sump; below 0 where what runs by is more already. [-]"""
        flows, ponds = self.inputs.flows.flows, self._ponds()
        stored = sum(flows[name] for name in ponds)
        by = self.total - stored
        if stored > 0.0:
            return min(1.0, (delivered - by) / stored)
        return 1.0 if delivered >= by else -1.0

    def water(self, share: float) -> LotWater:
        """The storm at a share."""
        if share not in self._known:
            others = {site.id: self.inputs.flows.flows[site.id] for site in self.catching.sites}
            self._known[share] = run_with_works(
                self.inputs.situation, self.inputs.reckoning, self.inputs.found, self.catching, self.division,
                others | self.flows(share),
            )
        return self._known[share]

    def inflow(self, share: float) -> Hydrograph:
        """What reaches the sump where nothing backs up."""
        taken = self.water(share).taken
        parts = [taken[name] for name in self.lifted if name in taken]
        return add_hydrographs(parts) if parts else Hydrograph(60.0, np.zeros(2))

    def ended(self, share: float) -> frozenset[int]:
        """Which of the lot's troubles are within their limits."""
        left = troubles_left(
            self.inputs.found, self.catching, self.division, self.water(share), self.inputs.situation.rules
        )
        return frozenset(number for number, trouble in enumerate(left) if trouble.ended)

    def least_share(self) -> float:
        """Least share that ends every trouble that the whole flow ends; 1 where that ends none. [-]"""
        wanted = self.ended(1.0)
        if not self._ponds() or not wanted:
            return 1.0
        low, high = 0.0, 1.0
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if self.ended(middle) >= wanted else (middle, high)
        return high

    def _ponds(self) -> Mapping[str, str]:
        """Low spot by the lifted basin that drains it."""
        return {site.id: site.spot for site in self.catching.basins if site.id in self.lifted and site.spot is not None}


def lift_storm(inputs: WayInputs, lifted: Sequence[str], by_gravity: Sequence[str]) -> LiftStorm:
    """The storm with collectors lifted and others served by gravity."""
    kept = {*lifted, *by_gravity}
    catching = inputs.catching
    catching = replace(
        catching,
        basins=tuple(site for site in catching.basins if site.id in kept),
        drains=tuple(site for site in catching.drains if (site.into or site.id) in kept),
        downspouts=tuple(site for site in catching.downspouts if site.id in kept),
    )
    return LiftStorm(inputs, tuple(lifted), catching, works_division(inputs.situation, catching))
