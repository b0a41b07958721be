"""What a run wrote, as layers of the host in one group that is named after the lot, each with its own style."""

import contextlib
import os
import re
import sqlite3
from bisect import bisect

from qgis.core import (
    QgsColorRampShader,
    QgsProcessingContext,
    QgsProcessingLayerPostProcessorInterface,
    QgsProviderRegistry,
    QgsRasterLayer,
    QgsRasterShader,
    QgsSingleBandPseudoColorRenderer,
    QgsVectorLayer,
    QgsWkbTypes,
)
from qgis.PyQt.QtGui import QColor

ORDER = {QgsWkbTypes.PointGeometry: 0, QgsWkbTypes.LineGeometry: 1, QgsWkbTypes.PolygonGeometry: 2}
RASTER, TABLE = 3, 4
STYLES = "layer_styles"
RANK, MOST_LAYERS = "lotshed/rank", 1000
BENEATH = "|layername=lots"
"""The end of the source of what is drawn below all other ground: it covers a town."""
LIGHTLY = 0.25
"""How much of a raster's colour is seen. [-]"""


def layers_of(path, rasters, title=""):
    """Layers with something in them of a file, or of the files of a folder, as (title, layer).

    `rasters` says how some are drawn, by the name of their file; `title` is that of a table by itself.
    """
    if os.path.isdir(path):
        inside = sorted(os.path.join(path, name) for name in os.listdir(path))
        return [found for each in inside if each.endswith((".gpkg", ".tif")) for found in layers_of(each, rasters)]
    if path.endswith(".tif"):
        name = os.path.splitext(os.path.basename(path))[0]
        # its contours are called the same
        title = f"{_title(path)} (raster)"
        layer = QgsRasterLayer(path, title)
        _draw(layer, rasters.get(name))
        return [(title, layer)]
    if path.endswith(".gpkg"):
        titles, options = _titles(path), QgsVectorLayer.LayerOptions()
        options.loadDefaultStyle = True
        names = [each.name() for each in QgsProviderRegistry.instance().querySublayers(path)]
        made = [
            (titles.get(name, name), QgsVectorLayer(f"{path}|layername={name}", titles.get(name, name), "ogr", options))
            for name in names
            if name != STYLES
        ]
        return [(title, layer) for title, layer in made if layer.isValid() and layer.featureCount() != 0]
    if path.endswith(".csv"):
        return [(title or _title(path), QgsVectorLayer(path, title or _title(path), "ogr"))]
    return []


def group_name(site, fallback):
    """What the site file calls its lot, else that file's name, else what is given."""
    if not site:
        return fallback
    with contextlib.suppress(OSError), open(site, encoding="utf-8", errors="replace") as file:
        for line in file:
            if line.lstrip().startswith("["):
                break
            found = re.match(r"""\s*name\s*=\s*["'](.+?)["']\s*(#.*)?$""", line)
            if found:
                return found[1]
    return os.path.splitext(os.path.basename(site))[0]


def load(made, name, output, context):
    """Let the host load layers, and gather them in a group, points above lines above areas."""
    for place, (title, layer) in enumerate(made):
        if layer.source().endswith(BENEATH):
            place = MOST_LAYERS - 1
        context.temporaryLayerStore().addMapLayer(layer)
        details = QgsProcessingContext.LayerDetails(title, context.project(), output)
        details.setPostProcessor(_IntoGroup(name, place))
        context.addLayerToLoadOnCompletion(layer.id(), details)


def gather(path, name, title, context):
    """Put into its group a layer that the host loads by itself, if somebody asked for that."""
    if context.willLoadLayerOnCompletion(path):
        details = context.layerToLoadOnCompletionDetails(path)
        details.name = title
        details.setPostProcessor(_IntoGroup(name, 0))


class _IntoGroup(QgsProcessingLayerPostProcessorInterface):
    """Moves a layer that was loaded into its group, made where there is none, to its place among the others."""

    kept = []  # noqa: RUF012

    def __init__(self, name, place):
        super().__init__()
        self.name, self.place = name, place
        # the host keeps no reference of its own
        self.kept.append(self)

    def postProcessLayer(self, layer, context, feedback):
        root = context.project().layerTreeRoot()
        group = root.findGroup(self.name) or root.insertGroup(0, self.name)
        found, rank = root.findLayer(layer.id()), MOST_LAYERS * _kind(layer) + self.place
        ranks = [int(child.customProperty(RANK, MOST_LAYERS * TABLE)) for child in group.children()]
        moved = found.clone()
        moved.setExpanded(False)
        moved.setCustomProperty(RANK, rank)
        group.insertChildNode(bisect(ranks, rank), moved)
        found.parent().removeChildNode(found)
        self.kept.remove(self)


def _draw(layer, classes):
    """Draw a raster in classes, so lightly that what lies below is seen."""
    if not classes or not layer.isValid():
        return
    ramp = QgsColorRampShader()
    ramp.setColorRampType(QgsColorRampShader.Discrete)
    ends = [float("inf") if each["below"] is None else each["below"] for each in classes]
    ramp.setColorRampItemList([
        QgsColorRampShader.ColorRampItem(ends[k], QColor(each["colour"]), each["words"])
        for k, each in enumerate(classes)
    ])  # fmt: skip
    shader = QgsRasterShader()
    shader.setRasterShaderFunction(ramp)
    layer.setRenderer(QgsSingleBandPseudoColorRenderer(layer.dataProvider(), 1, shader))
    layer.setOpacity(LIGHTLY)


def _kind(layer):
    if isinstance(layer, QgsRasterLayer):
        return RASTER
    return ORDER.get(layer.geometryType(), TABLE)


def _title(path):
    words = os.path.splitext(os.path.basename(path))[0].replace("_", " ")
    return words[:1].upper() + words[1:]


def _titles(path):
    """Titles of the layers of a GeoPackage, by name."""
    try:
        with contextlib.closing(sqlite3.connect(path)) as file:
            rows = file.execute("SELECT table_name, identifier FROM gpkg_contents").fetchall()
    except sqlite3.Error:
        return {}
    return {name: title or name for name, title in rows}
