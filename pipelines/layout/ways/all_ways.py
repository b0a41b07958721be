"""The ways to carry a lot's water off, each laid out as far as it goes: gravity, daylight, pump, soakaway."""

from pipelines.layout.plan import Mode
from pipelines.layout.ways.gravity import by_gravity
from pipelines.layout.ways.lift import by_pump
from pipelines.layout.ways.soak import by_soakaway
from pipelines.layout.ways.way_values import Way, WayInputs


def lay_out_ways(inputs: WayInputs) -> tuple[Way, ...]:
    """Every way to carry the water off."""
    gravity, answer = by_gravity(inputs, inputs.outfalls, "gravity")
    daylight, _ = by_gravity(inputs, inputs.daylights, "daylight")
    return (gravity, daylight, by_pump(inputs, gravity, answer), by_soakaway(inputs))


def lay_out_again(inputs: WayInputs, mode: Mode) -> Way:
    """One way alone, on ground that differs from that on which all were laid out."""
    if mode == "daylight":
        return by_gravity(inputs, inputs.daylights, mode)[0]
    if mode == "soakaway":
        return by_soakaway(inputs)
    gravity, answer = by_gravity(inputs, inputs.outfalls, "gravity")
    return by_pump(inputs, gravity, answer) if mode == "pump" else gravity
