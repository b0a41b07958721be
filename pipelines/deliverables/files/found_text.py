"""What lidar points and surfaces gave, in words for a terminal and in the site file that names it."""

import json
import math
from pathlib import Path

from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.say import say_all
from pipelines.inputs.input_files import path_from
from pipelines.inputs.lidar_finds import GroundFinds, LidarFinds
from terrain.unit_table import Units


def found_lines(ground: GroundFinds | None, found: LidarFinds, units: Units) -> list[tuple[str, str]]:
    """What was found, as pairs of what and value."""
    how = "as the points are classed" if found.by_class else "what stands 2 m up and is planar, found in lidar"
    lines = []
    if ground is not None:
        quality = ground.quality
        names = ", ".join(path.name for path in found.files)
        left_out = f" ({ground.left_out:,} withheld, overlap or noise left out)" if ground.left_out else ""
        spacing = format_quantity(ground.spacing, "length", units)
        rough = (
            "cannot be judged from so few points" if math.isnan(quality.roughness)
            else f"{format_quantity(quality.roughness, 'depth', units)} on the smoothest ground, such as paving"
        )  # fmt: skip
        lines += [
            ("points", f"{names}: {ground.points:,} around the lot{left_out}"),
            ("points' density", f"{quality.density:.1f} a square meter, {quality.ground_density:.1f} on the ground"),
            ("ground points", f"{spacing} apart; in {quality.ground_share:.0%} of the lot's open squares of 2 m"),
            ("points' scatter", rough),
        ]
    lines.append(("roofs", f"{len(found.roofs)}, {found.roofs_on_lot} of them on the lot ({how})"))
    if found.water:
        area = format_quantity(sum(shape.area for shape in found.water), "area", units)
        lines.append(("standing water", f"{area}, as the points are classed"))
    return lines


def with_finds(
    text: str, ground: GroundFinds | None, found: LidarFinds, outlines: Path, folder: Path, units: Units
) -> str:
    """A site file that names the roofs found in place of the comment that asks for them, and says what was found."""
    said = "".join(f"#   {what}: {value}\n" for what, value in found_lines(ground, found, units))
    said += "".join(f"#   warning: {' '.join(each.split())}\n" for each in say_all(found.warnings, units))
    text = _put(text, "# What was found:\n", f"# What was found:\n{said}")
    if ground is not None and ground.rmse is not None:
        stated = format_quantity(ground.rmse, "depth", "si")
        text = _put(text, '# rmse = "10 cm"  ', f'rmse = "{stated}"      # from the points\' scatter:')
    asked = '# file = "buildings.gpkg"'
    # where roofs were given too, those stand there already
    if found.roofs and asked in text:
        named = (
            f"[roofs]\nfile = {json.dumps(path_from(folder, outlines), ensure_ascii=False)}\n"
            'layer = "roofs"         # found in lidar: check them against a picture, and draw what they miss'
        )
        text = _put(text, asked, named)
        text = _put(text, "# [roofs]                 # building", "# Roofs:                  # building")
    return text


def _put(text: str, old: str, new: str) -> str:
    if text.count(old) != 1:
        raise ValueError(f"the site file's text holds {text.count(old)} times {old!r}")
    return text.replace(old, new)
