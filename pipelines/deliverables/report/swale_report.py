"""The report of a check of swales, from its findings and the layers that are handed over."""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib import resources

import numpy as np
import pandas as pd
import shapely

from pipelines.deliverables.files.symbols import symbol_of, symbols
from pipelines.deliverables.findings.swale import SwaleFinding, SwaleFindings
from pipelines.deliverables.report.blocks import Block, Head, Items, Report, Sheet, Subhead, Table
from pipelines.deliverables.report.context_map import UNDER, context_map
from pipelines.deliverables.report.figures.ground_picture import Bounds, ground_picture
from pipelines.deliverables.report.figures.map_picture import MapFeature, MapLayer, MapPicture
from pipelines.deliverables.report.figures.map_svg import seen
from pipelines.deliverables.report.figures.swale import long_profile_figure, section_figures
from pipelines.deliverables.report.lot.answer import caution_paragraph
from pipelines.deliverables.report.numbers import LayerWords, Shown, layer_table
from pipelines.deliverables.report.swale_answer import (
    ANSWERS,
    WORST_FIRST,
    caution_blocks,
    storm_name,
    swale_answer_blocks,
    swale_outlet_blocks,
    swale_paper_blocks,
)
from pipelines.deliverables.words.rules import rule_words
from pipelines.deliverables.words.say import say
from terrain.unit_table import Units

SURE = {"takes_it": "sure", "short": "no", "holds_water": "no", "cannot_tell": "cannot_tell"}
TITLES = {
    "swales": "Swales", "reaches": "Reaches", "culverts": "Culverts under drives",
    "suspected_culverts": "Suspected culverts", "standing_water": "Water left standing", "outlets": "Outlets",
    "recut": "Least re-cut", "stations": "Stations", "lot_inflows": "What each lot sends over the ground",
    "lot_sums": "Lots added up",
}  # fmt: skip
MAPPED = ("standing_water", "reaches", "swales", "cross_sections", "stations", "recut", "culverts",
          "suspected_culverts", "outlets")  # fmt: skip
HIDDEN = ("cross_sections", "recut", "stations")
PRINTED = {
    "culverts": ("id", "station", "bore", "peak_flow", "through", "over", "headwater", "answer", "remedy"),
    "suspected_culverts": ("id", "station", "height", "height_error", "headwater"),
    "outlets": ("name", "kind", "station", "invert", "flow", "tailwater", "drowned", "highest_level", "answer"),
}  # fmt: skip
"""Columns of what is printed; all else stands in the appendix."""
LABELLED = ("swales", "outlets", "suspected_culverts", "culverts")


def swale_report(findings: SwaleFindings, layers: Mapping[str, pd.DataFrame]) -> Report:
    """Everything a report of swales says."""
    worst = min((found.answer for found in findings.swales), key=WORST_FIRST.index, default="cannot_tell")
    said = "; ".join(f"{found.site.name} {ANSWERS[found.answer]}" for found in findings.swales)
    return Report(
        name=findings.name,
        version=findings.version,
        units=findings.units,
        subject="Check of outfall swales",
        sure=SURE[worst],
        verdict=f"In {storm_name(findings)}: {said}.",
        lead=f"In {storm_name(findings)}: {said}.",
        parts=tuple((found.site.name, SURE[found.answer], ANSWERS[found.answer]) for found in findings.swales),
        answer=swale_answer_blocks(findings),
        sheets=(*(_swale_sheet(found, findings, layers) for found in findings.swales), _authority(findings, layers)),
        tables=tuple(_numbers(findings, layers)),
        paper=swale_paper_blocks(findings),
        foot=tuple(f"{file.file} sha256 {file.sha256[:16]}" for file in findings.inputs),
    )


def swale_map(findings: SwaleFindings, layers: Mapping[str, pd.DataFrame]) -> MapPicture:
    """The map of a check of swales."""
    given = context_map(layers, findings.frame, findings.units)
    own = [_map_layer(findings, layers, name) for name in MAPPED]
    under, over = ([each for each in given.values() if (each.name in UNDER) == below] for below in (True, False))
    # a culvert that was given is drawn with its verdict
    every = (*under, *own, *over)
    drawn = tuple(layer for layer in every if layer.features and layer.name != "site_culverts")
    lines = np.array([found.site.thalweg.line for found in findings.swales], dtype=object)
    west, south, east, north = shapely.total_bounds(lines).tolist()
    view = seen((west, south, east, north), 10.0, 1.25)
    limits = findings.grid.bounds
    whole: Bounds = (max(view[0], limits[0]), max(view[1], limits[1]), min(view[2], limits[2]), min(view[3], limits[3]))
    ground = ground_picture(findings.ground, findings.grid, whole)
    return MapPicture(ground, drawn, view, findings.units, columns=findings.grid.shape[1], under=findings.picture)


@cache
def _columns() -> dict[str, tuple[Shown, ...]]:
    text = resources.files("pipelines.deliverables.report").joinpath("swale_columns.csv").read_text(encoding="utf-8")
    found: dict[str, list[Shown]] = {}
    for row in csv.DictReader(text.splitlines()):
        found.setdefault(row["layer"], []).append(Shown(row["column"], row["head"], row["kind"]))
    return {layer: tuple(shown) for layer, shown in found.items()}


def _map_layer(findings: SwaleFindings, layers: Mapping[str, pd.DataFrame], name: str) -> MapLayer:
    frame = layers[name]
    wanted = {condition.attribute for symbol in symbols()[name] for condition in symbol.conditions}
    shapes = findings.frame.from_map(frame.geometry.array)
    title = TITLES.get(name, "Cross-sections")
    features = []
    called = frame["name"] if name == "outlets" else frame["id"]
    words = LayerWords(layers, name, findings.units, _columns().get(name, ()))
    for position, (row, known, shape) in enumerate(zip(frame["id"], called, shapes, strict=True)):
        values = {each: _plain(frame[each].iloc[position]) for each in wanted}
        label = known if name in LABELLED else ""
        features.append(MapFeature(row, f"{title}: {known}", shape, symbol_of(name, values), words[row], label))
    return MapLayer(name, title, tuple(features), on=name not in HIDDEN)


def _plain(value: object) -> object:
    return bool(value) if str(value) in ("True", "False") else value


def _swale_sheet(found: SwaleFinding, findings: SwaleFindings, layers: Mapping[str, pd.DataFrame]) -> Sheet:
    units = findings.units
    profile = long_profile_figure(found, units)
    blocks: list[Block] = [caution_paragraph(), profile]
    for name in ("reaches", "culverts", "suspected_culverts", "standing_water", "outlets", "lot_sums"):
        blocks += _own_table(found, layers, name, units, _columns()[name])
    blocks += [Subhead("Sections, the worst of each reach"), *section_figures(found, units)]
    printed: list[Block] = [caution_paragraph(), profile]
    for name, wanted in PRINTED.items():
        shown = [each for each in _columns()[name] if each.column in wanted]
        printed += _own_table(found, layers, name, units, shown)
    printed += swale_outlet_blocks(found, units)
    return Sheet(found.site.id, found.site.name, "For the permit reviewer.", tuple(blocks), tuple(printed))


def _own_table(
    found: SwaleFinding, layers: Mapping[str, pd.DataFrame], name: str, units: Units, shown: Sequence[Shown]
) -> Iterator[Table]:
    """A layer's rows of one swale, where it has any, without columns of text that say nothing."""
    rows = layers[name][layers[name]["swale"] == found.site.id].reset_index(drop=True)
    told = tuple(each for each in shown if each.kind or any(rows[each.column].dropna().astype(str)))
    table = layer_table({name: rows}, name, units, told, title=TITLES[name])
    if table is not None:
        yield replace(table, id=f"{found.site.id}-{name}")


def _authority(findings: SwaleFindings, layers: Mapping[str, pd.DataFrame]) -> Sheet:
    units = findings.units
    blocks: list[Block] = []
    needed = [stretch for found in findings.swales for stretch in found.recut if stretch.needed]
    if needed:
        blocks.append(Subhead("Least re-cut, only with permission of the maintaining authority"))
        blocks += [
            Items(((f"{stretch.id}: {say(stretch.why_not, units)}.",),))
            for stretch in needed
            if stretch.why_not is not None
        ]
        priced = [f"{each.id}: {say(each.cost.why, units)}." for each in needed if each.cost is not None]
        blocks.append(Items(tuple((text,) for text in priced)))
        names = [stretch.id for stretch in needed]
        rows = {"recut": layers["recut"][layers["recut"]["stretch"].isin(names)].reset_index(drop=True)}
        table = layer_table(rows, "recut", units, _columns()["recut"], title=TITLES["recut"])
        if table is not None:
            blocks.append(table)
    cautions = caution_blocks(findings)
    return Sheet("authority", "Maintaining authority", "For the owner of the swale.",
                 (caution_paragraph(), *blocks, *cautions), cautions)  # fmt: skip


def _numbers(findings: SwaleFindings, layers: Mapping[str, pd.DataFrame]) -> Iterator[Block]:
    for name in ("swales", "stations", "lot_inflows"):
        table = layer_table(layers, name, findings.units, _columns()[name], title=TITLES[name])
        if table is not None:
            yield table
    columns = (Head("Rule"), Head("Meaning"), Head("Value: low / likely / high"), Head("Mark"))
    rules = tuple((rule.key, rule.meaning, rule_words(rule, findings.units), rule.mark) for rule in findings.rules)
    yield Table("rules", "Rules and defaults", columns, rules)
    if findings.inputs:
        heads = (Head("Read as"), Head("File"), Head("SHA-256"), Head("CRS"))
        rows = tuple((file.key, file.file, file.sha256, file.crs or "") for file in findings.inputs)
        yield Table("inputs", "Files that were read", heads, rows)
