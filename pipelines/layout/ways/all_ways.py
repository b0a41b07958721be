"""The ways to carry a lot's water off, each laid out as far as it goes: gravity, daylight, pump, soakaway."""

from collections.abc import Iterator, Mapping
from functools import cached_property

from pipelines.layout.plan import Mode
from pipelines.layout.ways.gravity import by_gravity
from pipelines.layout.ways.gravity_lines import GravityAnswer
from pipelines.layout.ways.lift import by_pump
from pipelines.layout.ways.soak import by_soakaway
from pipelines.layout.ways.way_values import Way, WayInputs

MODES: tuple[Mode, ...] = ("gravity", "daylight", "pump", "soakaway")
"""In the order in which they are told."""


class Ways(Mapping[Mode, Way]):
    """Every way to carry the water off, each laid out when it is first asked for.

    Parameters
    ----------
    inputs : WayInputs
        What they are laid out from.
    """

    def __init__(self, inputs: WayInputs) -> None:
        self.inputs = inputs
        self._laid: dict[Mode, Way] = {}

    def __getitem__(self, mode: Mode) -> Way:
        if mode not in self._laid:
            self._laid[mode] = self._lay(mode)
        return self._laid[mode]

    def __iter__(self) -> Iterator[Mode]:
        return iter(MODES)

    def __len__(self) -> int:
        return len(MODES)

    def _lay(self, mode: Mode) -> Way:
        if mode == "daylight":
            return by_gravity(self.inputs, self.inputs.daylights, mode)[0]
        if mode == "soakaway":
            return by_soakaway(self.inputs)
        gravity, answer = self._gravity
        return by_pump(self.inputs, gravity, answer) if mode == "pump" else gravity

    @cached_property
    def _gravity(self) -> tuple[Way, GravityAnswer | None]:
        return by_gravity(self.inputs, self.inputs.outfalls, "gravity")


class WaysBut(Mapping[Mode, Way]):
    """Ways of which one was laid again on other ground.

    Parameters
    ----------
    again : Way
        That one.
    others : mapping of str to Way
        The rest, as they are.
    """

    def __init__(self, again: Way, others: Mapping[Mode, Way]) -> None:
        self.again, self.others = again, others

    def __getitem__(self, mode: Mode) -> Way:
        return self.again if mode == self.again.mode else self.others[mode]

    def __iter__(self) -> Iterator[Mode]:
        return iter(self.others)

    def __len__(self) -> int:
        return len(self.others)
