"""A lot's layers on a plain map, for a notebook."""

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import box

from pipelines.deliverables.files.glyphs import plot_marker
from pipelines.deliverables.files.layer_table import layers as table
from pipelines.deliverables.files.styles import INSIDE
from pipelines.deliverables.files.symbols import Symbol, symbol_of, symbols
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.unit_systems import unit_system, unit_value
from terrain.arrays import IntArray
from terrain.unit_table import Units

DRAWN = (
    "low_spots", "surface_works", "flow_paths", "parcel", "french_drains", "channel_drains", "pipe_runs", "fittings",
    "outfalls", "catch_basins", "sumps",
)  # fmt: skip
HATCHES = {"rafters": "//", "pavers": "++", "no_entry": "xx", "furrows": "--"}
POINTS_IN_MM = 72.0 / 25.4
AROUND = 0.15
"""Ground around the lot that is seen, of the lot's own width. [-]"""


def plot_layers(layers: Mapping[str, pd.DataFrame], findings: Findings, ax: Any = None) -> Any:
    """Draw ground, roofs, paving and every layer that has features, in the map's CRS; give the axes."""
    import matplotlib.pyplot as plt
    from matplotlib.colors import LightSource

    if ax is None:
        _, ax = plt.subplots(figsize=(8.0, 8.0))
    frame, grid, units = findings.frame, findings.grid, unit_system(findings.units)
    ground = np.where(np.isfinite(findings.ground), findings.ground, np.nanmin(findings.ground))
    west, south, east, north = frame.to_map(gpd.GeoSeries([box(*grid.bounds)])).total_bounds
    shaded = LightSource(315, 45).hillshade(ground, vert_exag=4.0, dx=grid.cell_width, dy=grid.cell_height)
    ax.imshow(shaded, cmap="gray", extent=(west, east, south, north), alpha=0.35, zorder=0)
    for name in ("hardscape", "roofs"):
        shapes = getattr(findings, name)
        if len(shapes):
            _draw(ax, gpd.GeoSeries(frame.to_map(shapes.geometry), crs=frame.crs), symbols()[name][0], units)
    for name in DRAWN:
        kinds = _kinds(name, layers[name], units)
        for position, symbol in enumerate(symbols()[name]):
            _draw(ax, layers[name].geometry[kinds == position], symbol, units)
    lot = layers["parcel"].total_bounds
    margin = AROUND * max(lot[2] - lot[0], lot[3] - lot[1])
    ax.set_xlim(lot[0] - margin, lot[2] + margin)
    ax.set_ylim(lot[1] - margin, lot[3] + margin)
    ax.set_aspect("equal")
    ax.ticklabel_format(style="plain", useOffset=False)
    ax.tick_params(axis="x", labelrotation=30)
    ax.set_title(findings.name)
    ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False)
    return ax


def _kinds(name: str, layer: pd.DataFrame, units: Units) -> IntArray:
    """Which of the layer's symbols each feature is drawn with."""
    columns = {
        column.name: layer[written] * unit_value(column.unit(units)) if column.type == "real" else layer[written]
        for written, column in table()[name].written(units)
    }
    rows = pd.DataFrame(columns).to_dict("records")
    return np.array([symbol_of(name, {str(key): value for key, value in row.items()}) for row in rows], dtype=np.int64)


def _draw(ax: Any, shapes: gpd.GeoSeries, symbol: Symbol, units: Units) -> None:
    from matplotlib.colors import to_rgba

    if shapes.empty:
        return
    label, width = symbol.label(units), symbol.width * POINTS_IN_MM
    dash = (0, tuple(part * POINTS_IN_MM for part in symbol.dash)) if symbol.dash else "-"
    if symbol.kind == "fill":
        hatch = HATCHES.get(symbol.shape)
        shapes.plot(ax=ax, facecolor=to_rgba(symbol.colour, symbol.opacity), edgecolor=symbol.edge, linewidth=width,
                    linestyle=dash, hatch=hatch, aspect=None)  # fmt: skip
        ax.fill([], [], facecolor=to_rgba(symbol.colour, symbol.opacity), edgecolor=symbol.edge, label=label)
    elif symbol.kind == "line":
        outer = "-" if symbol.shape == "barrel" else dash
        shapes.plot(ax=ax, color=symbol.colour, alpha=symbol.opacity, linewidth=width, linestyle=outer, aspect=None)
        if symbol.shape == "barrel":
            shapes.plot(ax=ax, color=symbol.edge, linewidth=INSIDE * width, linestyle=dash, aspect=None)
        ax.plot([], [], color=symbol.colour, linewidth=width, linestyle=dash, label=label)
    else:
        plot_marker(ax, shapes.x, shapes.y, symbol.shape, size=symbol.width * POINTS_IN_MM, colour=symbol.colour,
                    edge=symbol.edge, zorder=5, label=label)  # fmt: skip
