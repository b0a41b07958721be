"""Sections of a stone trench and of a pumped basin, with the measures that a crew needs."""

from pipelines.deliverables.report.blocks import Figure
from pipelines.deliverables.report.figures.svg import INK, PALE, Drawing
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.words.say import say
from pipelines.deliverables.words.slopes import fall_for_crew
from pipelines.layout.plan import FrenchDrain, Sump
from terrain.unit_table import Units

UNDER_PIPE, OVER_PIPE, PIPE = 0.0508, 0.1524, 0.1016
"""Stone under and least over a perforated pipe, and the pipe: the usual 2, 6 and 4 in. [m]"""
WATER, STONE, FABRIC, SOIL = "#0072b2", "#9a9a9a", "#cc79a7", "#8a5a00"
WIDTH, HEIGHT = 760.0, 250.0


def drain_section(drain: FrenchDrain, units: Units) -> Figure:
    """Section of a French drain at its deepest."""
    drawing = Drawing(WIDTH, HEIGHT)
    scale = min(170.0 / drain.depth, 300.0 / drain.width)
    wide, deep = drain.width * scale, drain.depth * scale
    left, top = 230.0, 40.0
    right, bottom = left + wide, top + deep
    drawing.line([(60.0, top), (left, top)], colour=SOIL, width=2.5)
    drawing.line([(right, top), (right + 170.0, top)], colour=SOIL, width=2.5)
    drawing.add("rect", x=left, y=top, width=wide, height=deep, fill=STONE, fill_opacity=0.25, stroke="none")
    for row in range(int(deep // 13)):
        for column in range(int(wide // 15)):
            drawing.add("circle", cx=left + 8.0 + 15.0 * column + 4.0 * (row % 2), cy=top + 8.0 + 13.0 * row, r=4.0,
                        fill="none", stroke=STONE, stroke_width=1.2)  # fmt: skip
    drawing.line([(left, top), (left, bottom), (right, bottom), (right, top)], colour=FABRIC, width=2.5, dash="6 3")
    middle, centre = (left + right) / 2.0, bottom - (UNDER_PIPE + PIPE / 2.0) * scale
    drawing.add("circle", cx=middle, cy=centre, r=PIPE / 2.0 * scale, fill="#ffffff", stroke=INK, stroke_width=2.0,
                stroke_dasharray="5 3")  # fmt: skip
    width, depth = number(drain.width, "depth", units), number(drain.depth, "depth", units)
    _across(drawing, left, right, bottom + 16.0, f"{width.text} wide")
    _down(drawing, left - 18.0, top, bottom, f"{depth.text} deep")
    under = number(UNDER_PIPE, "depth", units).text
    x = right + 26.0
    drawing.line([(middle + PIPE / 2.0 * scale, centre), (x - 4.0, centre - 20.0)], colour=PALE, width=1.0)
    drawing.text(x, centre - 16.0, f"{drain.pipe}, holes down, falls {say(fall_for_crew(drain.slope), units)}")
    over = number(OVER_PIPE, "depth", units).text
    drawing.text(x, centre + 4.0, f"{under} of stone under it, at least {over} over it")
    drawing.text(x, top + 22.0, "washed stone brought to grade, where it catches")
    drawing.text(x, top + 40.0, "sheet flow; non-woven fabric (dashed) at the sides")
    return Figure(
        f"section-{drain.id}", f"{drain.id}, section at its deepest", drawing.markup(),
        f"Section of {drain.id}: trench {width.text} wide and {depth.text} deep, washed stone to grade in fabric, "
        f"{drain.pipe} on {under} of stone.",
    )


def sump_section(sump: Sump, units: Units) -> Figure:
    """Section of a pumped basin with its levels."""
    drawing = Drawing(WIDTH, HEIGHT + 30.0)
    left, right, top, deep = 300.0, 420.0, 40.0, 200.0
    scale = deep / max(sump.ground_elevation - sump.bottom_elevation, 0.1)
    bottom = top + deep
    drawing.line([(60.0, top), (left, top)], colour=SOIL, width=2.5)
    drawing.line([(right, top), (700.0, top)], colour=SOIL, width=2.5)
    off = top + (sump.ground_elevation - sump.off_elevation) * scale
    inlet = top + (sump.ground_elevation - sump.inlet_elevation) * scale
    drawing.add("rect", x=left, y=off, width=right - left, height=bottom - off, fill=WATER, fill_opacity=0.25)
    drawing.line([(left, top), (left, bottom), (right, bottom), (right, top)], width=3.0)
    drawing.line([(left - 6.0, top), (right + 6.0, top)], width=5.0)
    drawing.line([(left - 110.0, inlet - 12.0), (left, inlet - 10.0)], width=1.5)
    drawing.line([(left - 110.0, inlet), (left, inlet + 2.0)], width=2.0)
    drawing.add("rect", x=left + 38.0, y=bottom - 44.0, width=44.0, height=40.0, fill="#ffffff", stroke=INK,
                stroke_width=2.0, rx=6.0)  # fmt: skip
    drawing.text(left + 60.0, bottom - 20.0, "pump", size=11.0, anchor="middle")
    drawing.line([(left + 60.0, bottom - 44.0), (left + 60.0, top + 26.0), (right + 110.0, top + 26.0)], width=2.5,
                 dash="9 3 2 3")  # fmt: skip
    drawing.text(right + 116.0, top + 30.0, "pressure line")
    for level, name in (
        (sump.inlet_elevation, "inlet"), (sump.off_elevation, "pump off"), (sump.bottom_elevation, "bottom"),
    ):
        y = top + (sump.ground_elevation - level) * scale
        below = number(sump.ground_elevation - level, "depth", units)
        drawing.line([(right + 4.0, y), (right + 40.0, y)], colour=PALE, width=1.0)
        drawing.text(right + 46.0, y + 4.0, f"{name}, {below.text} below the lid")
    drawing.text((left + right) / 2.0, bottom + 20.0, say(sump.basin, units), anchor="middle")
    drawing.text(left - 114.0, inlet - 18.0, "from the collectors", size=11.0)
    inlet_below = number(sump.ground_elevation - sump.inlet_elevation, "depth", units).text
    off_below = number(sump.ground_elevation - sump.off_elevation, "depth", units).text
    return Figure(
        f"section-{sump.id}", f"{sump.id}, section", drawing.markup(),
        f"Section of {sump.id}, {say(sump.basin, units)}: inlet {inlet_below}, pump off {off_below} below the lid.",
    )


def _across(drawing: Drawing, left: float, right: float, y: float, words: str) -> None:
    drawing.line([(left, y - 5.0), (left, y + 5.0)], width=1.0)
    drawing.line([(right, y - 5.0), (right, y + 5.0)], width=1.0)
    drawing.line([(left, y), (right, y)], width=1.0)
    drawing.text((left + right) / 2.0, y + 16.0, words, anchor="middle", weight="bold")


def _down(drawing: Drawing, x: float, top: float, bottom: float, words: str) -> None:
    drawing.line([(x - 5.0, top), (x + 5.0, top)], width=1.0)
    drawing.line([(x - 5.0, bottom), (x + 5.0, bottom)], width=1.0)
    drawing.line([(x, top), (x, bottom)], width=1.0)
    drawing.text(x - 8.0, (top + bottom) / 2.0 + 4.0, words, anchor="end", weight="bold")
