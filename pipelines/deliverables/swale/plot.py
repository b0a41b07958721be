"""Pictures of a swale: its long profile with the water of the design storm, and its sections."""

from io import BytesIO
from typing import Any

import numpy as np

from pipelines.deliverables.files.glyphs import plot_marker
from pipelines.deliverables.files.symbols import Symbol, symbols
from pipelines.deliverables.findings.swale import SwaleFinding
from pipelines.deliverables.report.swale_answer import ANSWERS
from terrain.unit_table import Units, si_factor

# the hues of the table of symbols; dashes and marks say the same again
_GROUND, _WATER, _BANK, _RECUT = (
    symbols()[name][0].colour for name in ("contours", "swales", "cross_sections", "recut")
)
_BAD, _SUSPECT = symbols()["stations"][1].colour, symbols()["suspected_culverts"][0].colour
_INK, _PAPER, _FAINT = "#2b2b2b", "#fbfaf7", "#d9d4c8"
_SECTIONS = 9


def profile_png(found: SwaleFinding, units: Units) -> bytes:
    """The long profile of a swale."""
    unit, one = _length(units)
    site = found.site
    figure, axes = _figure(12.0, 5.2)
    station = site.profile.station / one
    axes.fill_between(station, site.profile.bottom / one, _floor(found, one), color=_FAINT, zorder=1)
    axes.plot(station, site.profile.bottom / one, color=_GROUND, linewidth=1.6, label="bottom as the raster shows it")
    axes.plot(site.station / one, site.bank / one, color=_BANK, linewidth=1.1, dashes=(5, 2), label="lower bank")
    level = found.levels.level / one
    axes.plot(site.station / one, level, color=_WATER, linewidth=1.4, marker=".", markersize=4,
              label="water in the design storm")  # fmt: skip
    over = found.levels.over_bank
    if over.any():
        _mark(axes, site.station[over] / one, level[over], symbols()["stations"][1], "above the lower bank")
    _draw_normal(axes, found, one)
    for index, pond in enumerate(found.ponds):
        axes.plot([pond.start / one, pond.end / one], [pond.level / one] * 2, color=_WATER, linewidth=4, alpha=0.35,
                  label="water left standing" if index == 0 else None)  # fmt: skip
    _draw_recut(axes, found, one)
    _draw_drives(axes, found, one)
    _draw_outlets(axes, found, one)
    axes.set_xlabel(f"Station, from the upper end [{unit}]")
    axes.set_ylabel(f"Elevation [{unit}]")
    axes.set_title(f"{site.name} {ANSWERS[found.answer]}", loc="left", color=_INK, fontweight="bold")
    axes.legend(loc="upper right", fontsize=8, frameon=True, facecolor=_PAPER, edgecolor=_FAINT)
    return _png(figure)


def sections_png(found: SwaleFinding, units: Units) -> bytes:
    """Cross-sections of a swale: the worst of each reach first, then others spread along it."""
    import matplotlib.pyplot as plt

    unit, one = _length(units)
    site, chosen = found.site, _chosen(found)
    ids = site.station_ids
    columns = min(3, len(chosen))
    rows = int(np.ceil(len(chosen) / columns))
    figure, grid = plt.subplots(rows, columns, figsize=(4.2 * columns, 2.7 * rows), squeeze=False, facecolor=_PAPER)
    for axes in grid.ravel()[len(chosen) :]:
        axes.set_axis_off()
    for axes, index in zip(grid.ravel(), chosen, strict=False):
        _dress(axes)
        section = site.sections[index]
        across, ground = section.offsets / one, section.elevations / one
        level = float(found.levels.level[index]) / one
        axes.fill_between(across, ground, min(ground.min(), level) - 0.05 / one, color=_FAINT, zorder=1)
        axes.fill_between(across, ground, level, where=ground < level, color=_WATER, alpha=0.25, zorder=2)
        axes.plot(across, ground, color=_GROUND, linewidth=1.5, zorder=3)
        axes.axhline(section.bank_full / one, color=_BANK, linewidth=1.0, dashes=(5, 2), zorder=3)
        axes.axhline(level, color=_WATER, linewidth=1.0, zorder=3)
        _draw_recut_section(axes, found, index, one)
        at = f"{site.station[index] / one:,.0f} {unit}"
        mark = " (over its bank)" if found.levels.over_bank[index] else ""
        axes.set_title(f"{ids[index]}, at {at}{mark}", fontsize=8, loc="left",
                       color=_BAD if found.levels.over_bank[index] else _INK)  # fmt: skip
        axes.set_xlabel(f"Offset to the right, looking downstream [{unit}]", fontsize=7)
        axes.set_ylabel(f"Elevation [{unit}]", fontsize=7)
        axes.tick_params(labelsize=7)
    figure.suptitle(
        f"{site.name}, sections: ground brown, water of the design storm blue, lower bank dashed gray, re-cut dotted",
        fontsize=9, color=_INK,
    )  # fmt: skip
    figure.subplots_adjust(left=0.08, right=0.98, bottom=0.08, top=1.0 - 0.25 / rows, wspace=0.32, hspace=0.6)
    return _png(figure)


def _length(units: Units) -> tuple[str, float]:
    unit = "ft" if units == "us" else "m"
    return unit, si_factor(unit)


def _figure(width: float, height: float) -> tuple[Any, Any]:
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=(width, height), facecolor=_PAPER, layout="constrained")
    _dress(axes)
    return figure, axes


def _dress(axes: Any) -> None:
    axes.set_facecolor(_PAPER)
    axes.grid(color=_FAINT, linewidth=0.6)
    axes.ticklabel_format(useOffset=False, style="plain")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(_INK)


def _png(figure: Any) -> bytes:
    import matplotlib.pyplot as plt

    file = BytesIO()
    # no software or date, so that two runs write the same bytes
    figure.savefig(file, format="png", dpi=110, facecolor=_PAPER, metadata={"Software": None})
    plt.close(figure)
    return file.getvalue()


def _floor(found: SwaleFinding, one: float) -> float:
    low = float(found.site.profile.bottom.min())
    for stretch in found.recut:
        if stretch.recut is not None:
            low = min(low, float(stretch.recut.bottom.min()))
    return (low - 0.1) / one


def _draw_normal(axes: Any, found: SwaleFinding, one: float) -> None:
    axes.plot(found.site.station / one, found.levels.normal / one, color=_WATER, linewidth=0.8, dashes=(1.5, 1.5),
              label="normal depth of the same flow")  # fmt: skip


def _draw_recut(axes: Any, found: SwaleFinding, one: float) -> None:
    named = False
    for stretch in found.recut:
        if stretch.recut is None or not stretch.needed:
            continue
        axes.plot(stretch.recut.station / one, stretch.recut.bottom / one, color=_RECUT, linewidth=1.6,
                  dashes=(1, 1), label=None if named else "bottom after the least re-cut")  # fmt: skip
        named = True


def _draw_drives(axes: Any, found: SwaleFinding, one: float) -> None:
    named: set[bool] = set()
    for each in found.crossings:
        given = each.crossing.given
        words = "drive over a culvert" if given else "suspected culvert: look here"
        middle = (each.crossing.start + each.crossing.end) / 2.0 / one
        low = float(found.site.bottom[each.crossing.above]) / one
        axes.plot([middle, middle], [low, each.crossing.ridge.lowest / one], color=_INK if given else _SUSPECT,
                  linewidth=7 if given else 5, alpha=0.45, solid_capstyle="butt",
                  label=None if given in named else words)  # fmt: skip
        mark = "?" if not given else "!" if each.answer == "short" else ""
        axes.annotate(mark, (middle, each.crossing.ridge.lowest / one), ha="center", va="bottom", fontsize=11,
                      color=_BAD if given else _SUSPECT)  # fmt: skip
        named.add(given)


def _draw_outlets(axes: Any, found: SwaleFinding, one: float) -> None:
    for symbol in symbols()["outlets"]:
        mine = [each for each in found.outlets if each.tailwater.state == symbol.conditions[0].value]
        if mine:
            at, level = [each.outlet.station / one for each in mine], [each.outlet.invert / one for each in mine]
            _mark(axes, at, level, symbol, symbol.label("si"))
    for each in found.outlets:
        place = (each.outlet.station / one, each.outlet.invert / one)
        axes.annotate(each.outlet.name, place, xytext=(6, -2), textcoords="offset points", va="top", fontsize=7.5,
                      color=_INK)  # fmt: skip


def _mark(axes: Any, x: Any, y: Any, symbol: Symbol, label: str) -> None:
    plot_marker(axes, x, y, symbol.shape, size=3.2 * symbol.width, colour=symbol.colour, edge=symbol.edge, zorder=6,
                label=label)  # fmt: skip


def _draw_recut_section(axes: Any, found: SwaleFinding, index: int, one: float) -> None:
    for stretch in found.recut:
        if stretch.recut is None or not stretch.first <= index <= stretch.last or not stretch.needed:
            continue
        number = index - stretch.first
        across, after = stretch.sections[number].after(float(stretch.recut.bottom[number]))
        drawn = found.site.sections[index].offsets
        seen = (across >= drawn.min()) & (across <= drawn.max())
        axes.plot(across[seen] / one, after[seen] / one, color=_RECUT, linewidth=1.6, dashes=(1, 1))


def _chosen(found: SwaleFinding) -> list[int]:
    worst = sorted(found.reaches, key=lambda each: each.room)
    chosen = list(dict.fromkeys(each.worst for each in worst))[:_SECTIONS]
    count = len(found.site.sections)
    for index in np.linspace(0, count - 1, min(_SECTIONS, count)).round().astype(int).tolist():
        if len(chosen) >= _SECTIONS:
            break
        if index not in chosen:
            chosen.append(index)
    return sorted(chosen)
