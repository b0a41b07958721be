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
LIGHTLY = 0.25
"""How much of a raster's colour is seen. [-]"""


def layers_of(path, rasters):
    """Layers with something in them of a file, or of the files of a folder, as (title, layer).

    `rasters` says how some are drawn, by the name of their file.
    """
    if os.path.isdir(path):
        inside = sorted(os.path.join(path, name) for name in os.listdir(path))
        return [found for each in inside if each.endswith((".gpkg", ".tif")) for found in layers_of(each, rasters)]
    if path.endswith(".tif"):
        layer = QgsRasterLayer(path, _title(path))
        _draw(layer, rasters.get(os.path.splitext(os.path.basename(path))[0]))
        return [(_title(path), layer)]
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
        return [(_title(path), QgsVectorLayer(path, _title(path), "ogr"))]
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
    group = _Group(name)
    for place, (title, layer) in enumerate(made):
        context.temporaryLayerStore().addMapLayer(layer)
        details = QgsProcessingContext.LayerDetails(title, context.project(), output)
        details.setPostProcessor(group.member(place))
        context.addLayerToLoadOnCompletion(layer.id(), details)


def gather(path, name, title, context):
    """Put into its group a layer that the host loads by itself, if somebody asked for that."""
    if context.willLoadLayerOnCompletion(path):
        details = context.layerToLoadOnCompletionDetails(path)
        details.name = title
        details.setPostProcessor(_Group(name).member(0))


class _Group:
    """A group of one run, made when its first layer arrives."""

    def __init__(self, name):
        self.name, self.node, self.held = name, None, []

    def member(self, place):
        """What moves the layer of that place among all here."""
        member = _IntoGroup()
        member.group, member.place = self, place
        # the host keeps no reference of its own
        _IntoGroup.kept.append(member)
        return member

    def take(self, layer, place, project):
        """Move a layer of the project here."""
        root = project.layerTreeRoot()
        if self.node is None:
            self.node = root.insertGroup(0, self.name)
        found = root.findLayer(layer.id())
        if found is None:
            return
        rank = (_kind(layer), place)
        at = bisect(self.held, rank)
        self.held.insert(at, rank)
        moved = found.clone()
        moved.setExpanded(False)
        self.node.insertChildNode(at, moved)
        found.parent().removeChildNode(found)


class _IntoGroup(QgsProcessingLayerPostProcessorInterface):
    kept = []  # noqa: RUF012

    def postProcessLayer(self, layer, context, feedback):
        self.group.take(layer, self.place, context.project())
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
