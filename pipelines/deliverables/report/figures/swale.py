"""A swale's long profile and its sections, with the water of the design storm."""

from collections.abc import Sequence

import numpy as np

from pipelines.deliverables.files.symbols import Symbol, symbol_of, symbols
from pipelines.deliverables.findings.swale import SwaleFinding
from pipelines.deliverables.report.blocks import Figure
from pipelines.deliverables.report.figures.map_svg import marker
from pipelines.deliverables.report.figures.svg import INK, PALE, Plot
from pipelines.deliverables.report.numbers import number
from terrain.unit_table import Units, si_factor

GROUND, WATER, BANK, RECUT, BAD = (
    symbols()[name][at].colour
    for name, at in (("contours", 0), ("swales", 0), ("cross_sections", 0), ("recut", 0), ("stations", 1))
)
MOST_SECTIONS = 6


def long_profile_figure(found: SwaleFinding, units: Units) -> Figure:
    """Long profile of a swale: bottom, lower bank, water, ponds, re-cut, drives and outlets."""
    unit = "ft" if units == "us" else "m"
    one, site = si_factor(unit), found.site
    levels = [site.profile.bottom, site.bank, found.levels.level]
    levels += [stretch.recut.bottom for stretch in found.recut if stretch.recut and stretch.needed]
    low, high = (float(pick([pick(each) for each in levels])) for pick in (np.min, np.max))
    length = float(site.profile.station[-1])
    plot = Plot(980.0, 360.0, (0.0, length / one), ((low - 0.15) / one, (high + 0.25) / one), top=44.0)
    plot.axes(f"Station, {unit} from the upper end", f"Elevation, {unit}", across_most=12)
    bottom = plot.at(zip(site.profile.station / one, site.profile.bottom / one, strict=True))
    plot.area([*bottom, (bottom[-1][0], plot.bottom), (bottom[0][0], plot.bottom)], colour=GROUND, opacity=0.12)
    for pond in found.ponds:
        inside = (site.profile.station >= pond.start) & (site.profile.station <= pond.end)
        under = plot.at(zip(site.profile.station[inside] / one, site.profile.bottom[inside] / one, strict=True))
        if under:
            top = plot.y(pond.level / one)
            plot.area([(under[0][0], top), *under, (under[-1][0], top)], colour=WATER, opacity=0.45)
    plot.line(bottom, colour=GROUND, width=2.0)
    plot.line(plot.at(zip(site.station / one, site.bank / one, strict=True)), colour=BANK, width=1.3, dash="6 3")
    plot.line(plot.at(zip(site.station / one, found.levels.level / one, strict=True)), colour=WATER, width=2.0)
    for index in np.flatnonzero(found.levels.over_bank):
        x, y = plot.x(site.station[index] / one), plot.y(found.levels.level[index] / one)
        _mark(plot, x, y, symbols()["stations"][1])
    rows = [("bottom as the raster shows it", GROUND, None), ("lower bank", BANK, "6 3"),
            ("water in the design storm", WATER, None)]  # fmt: skip
    for stretch in found.recut:
        if stretch.recut is not None and stretch.needed:
            recut = zip(stretch.recut.station / one, stretch.recut.bottom / one, strict=True)
            plot.line(plot.at(recut), colour=RECUT, width=2.0, dash="2 2")
            if rows[-1][1] != RECUT:
                rows.append(("bottom after the least re-cut", RECUT, "2 2"))
    _drives(plot, found, one)
    _outlets(plot, found, one)
    _legend(plot, rows)
    return Figure(
        f"profile-{site.id}", f"{site.name}, long profile", plot.markup(),
        f"Long profile of {site.name}, {number(length, 'length', units).text} long: bottom, lower bank and water of "
        f"the design storm; at {int(found.levels.over_bank.sum())} of {len(site.station)} stations it stands above the "
        "lower bank.",
    )


def section_figures(found: SwaleFinding, units: Units) -> tuple[Figure, ...]:
    """Sections of a swale with their water: the worst of each reach."""
    worst = sorted(found.reaches, key=lambda each: each.room)
    chosen = sorted(dict.fromkeys(each.worst for each in worst[:MOST_SECTIONS]))
    return tuple(_section(found, index, units) for index in chosen)


def _section(found: SwaleFinding, index: int, units: Units) -> Figure:
    unit = "ft" if units == "us" else "m"
    one, section = si_factor(unit), found.site.sections[index]
    level = float(found.levels.level[index])
    across, ground = section.offsets / one, section.elevations / one
    high = max(float(ground.max()), level / one)
    plot = Plot(760.0, 250.0, (float(across.min()), float(across.max())),
                (float(ground.min()) - 0.1 / one, high + 0.2 / one), top=36.0)  # fmt: skip
    plot.axes(f"Offset to the right, looking downstream, {unit}", f"Elevation, {unit}", up_most=5)
    # the water stands over the lowest ground and as far as it is below the level on either side
    low, dry = int(np.argmin(ground)), ground >= level / one
    if not dry[low]:
        before, after = np.flatnonzero(dry[:low]), np.flatnonzero(dry[low:])
        part = slice(int(before[-1]) + 1 if before.size else 0, low + int(after[0]) if after.size else ground.size)
        shore = plot.at(zip(across[part], ground[part], strict=True))
        top = plot.y(level / one)
        plot.area([(shore[0][0], top), *shore, (shore[-1][0], top)], colour=WATER, opacity=0.35)
        plot.line([(shore[0][0], top), (shore[-1][0], top)], colour=WATER, width=2.0)
    plot.line(plot.at(zip(across, ground, strict=True)), colour=GROUND, width=2.2)
    bank = section.bank_full / one
    plot.line([(plot.left, plot.y(bank)), (plot.right, plot.y(bank))], colour=BANK, width=1.3, dash="6 3")
    _legend(plot, [("ground", GROUND, None), ("lower bank", BANK, "6 3"), ("water in the design storm", WATER, None)])
    at = number(float(section.station), "length", units).text
    over = ", over its bank" if bool(found.levels.over_bank[index]) else ""
    name = found.site.station_ids[index]
    return Figure(
        f"section-{name}", f"{name}, at {at}{over}", plot.markup(),
        f"Section at station {at}: water at {number(level, 'level', units).text}, lower bank at "
        f"{number(float(section.bank_full), 'level', units).text}.",
    )


def _drives(plot: Plot, found: SwaleFinding, one: float) -> None:
    for each in found.crossings:
        left, right = plot.x(each.crossing.start / one), plot.x(each.crossing.end / one)
        top = plot.y(each.crossing.ridge.lowest / one)
        foot = plot.y(float(found.site.bottom[each.crossing.above]) / one)
        plot.add("rect", x=left, y=top, width=max(right - left, 4.0), height=max(foot - top, 4.0),
                 fill="#595959" if each.crossing.given else "#ffffff", fill_opacity=0.55, stroke=INK,
                 stroke_dasharray=None if each.crossing.given else "3 2")  # fmt: skip
        words = each.crossing.id if each.crossing.given else f"{each.crossing.id}?"
        plot.text((left + right) / 2.0, top - 6.0, words, size=10.0, anchor="middle", halo=True,
                  fill=BAD if each.answer == "short" else INK)  # fmt: skip


def _outlets(plot: Plot, found: SwaleFinding, one: float) -> None:
    for each in found.outlets:
        x, y = plot.x(each.outlet.station / one), plot.y(each.outlet.invert / one)
        _mark(plot, x, y, symbols()["outlets"][symbol_of("outlets", {"tailwater": each.tailwater.state})])
        plot.text(x, y + 15.0, each.outlet.name, size=9.0, anchor="middle", halo=True, fill=INK)


def _mark(plot: Plot, x: float, y: float, symbol: Symbol) -> None:
    plot.open("g", transform=f"translate({x:.1f} {y:.1f})")
    marker(plot, symbol)
    plot.close()


def _legend(plot: Plot, rows: Sequence[tuple[str, str, str | None]]) -> None:
    x = plot.left + 6.0
    for name, colour, dash in rows:
        plot.line([(x, plot.top - 16.0), (x + 24.0, plot.top - 16.0)], colour=colour, width=2.2, dash=dash)
        plot.text(x + 29.0, plot.top - 12.0, name, size=11.5, fill=PALE)
        x += 48.0 + 6.6 * len(name)
