"""Values of parameters as words of a command line. Layers go as the files that they are of, where that says it all."""

import os

from qgis.core import (
    QgsProcessingException,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingUtils,
    QgsProviderRegistry,
    QgsVectorFileWriter,
)

from .parameters import BETWEEN, label, unit_name


def arguments_of(algorithm, offer, parameters, context):
    """The words for all that was given; raises a message where a layer cannot go."""
    words = []
    for taken in offer["takes"]:
        if parameters.get(taken["name"]) in (None, ""):
            continue
        values = _READ.get(taken["kind"], _text)(algorithm, taken, parameters, context)
        words += [f"{flag}={value}" if flag and value is not None else value or flag for flag, value in values]
    return words


def _flag(algorithm, taken, parameters, context):
    wanted = algorithm.parameterAsBool(parameters, taken["name"], context)
    return [(taken["flag"], None)] if wanted else []


def _yes_no(algorithm, taken, parameters, context):
    return [(taken["flag"], str(algorithm.parameterAsBool(parameters, taken["name"], context)).lower())]


def _text(algorithm, taken, parameters, context):
    given = algorithm.parameterAsString(parameters, taken["name"], context)
    parts = [part.strip() for part in given.split(BETWEEN)] if taken.get("several") else [given]
    return [(taken["flag"], part) for part in parts if part]


def _file(algorithm, taken, parameters, context):
    return [(taken["flag"], os.path.abspath(algorithm.parameterAsFile(parameters, taken["name"], context)))]


def _choice(algorithm, taken, parameters, context):
    if taken.get("several"):
        chosen = algorithm.parameterAsEnumStrings(parameters, taken["name"], context)
    else:
        chosen = [algorithm.parameterAsEnumString(parameters, taken["name"], context)]
    return [(taken["flag"], each) for each in chosen if each]


def _integer(algorithm, taken, parameters, context):
    return [(taken["flag"], str(algorithm.parameterAsInt(parameters, taken["name"], context)))]


def _number(algorithm, taken, parameters, context):
    given = repr(algorithm.parameterAsDouble(parameters, taken["name"], context))
    return [(taken["flag"], f"{given} {taken['unit']}" if taken.get("unit") else given)]


def _raster(algorithm, taken, parameters, context):
    layer = algorithm.parameterAsRasterLayer(parameters, taken["name"], context)
    path = layer.source() if layer is not None else ""
    if not os.path.isfile(path):
        raise QgsProcessingException(
            f"{label(taken)}: {path or parameters[taken['name']]} is no raster file on this computer. "
            "Save it as GeoTIFF and give that."
        )
    if layer.crs() != layer.dataProvider().crs():
        raise QgsProcessingException(
            f"{label(taken)}: {layer.name()} was given {layer.crs().authid()} in this project alone. "
            "Assign it in the file, which is what lotshed reads."
        )
    words = [(taken["flag"], os.path.abspath(path))]
    unit = taken["said"].get("unit")
    told = algorithm.parameterAsString(parameters, unit_name(taken), context) if unit else ""
    return [*words, (unit["flag"], told)] if told else words


def _vector(algorithm, taken, parameters, context):
    given = parameters[taken["name"]]
    selected = False
    if isinstance(given, QgsProcessingFeatureSourceDefinition):
        selected = given.selectedFeaturesOnly
        given = given.source.staticValue()
    layer = QgsProcessingUtils.mapLayerFromString(given, context) if isinstance(given, str) else given
    if layer is None:
        raise QgsProcessingException(f"{label(taken)}: {given} is no layer that can be read.")
    path, name, where = _of_file(layer)
    if selected or not path or (layer.isEditable() and layer.isModified()):
        path, name, where = _written(layer, taken["name"], context, selected), "", ""
    said = taken["said"]
    told = [("layer", name), ("where", where)]
    return [(taken["flag"], path), *((said[each]["flag"], text) for each, text in told if text)]


def _of_file(layer):
    """File, layer within it and filter that a layer stands for; no file where that doesn't say it all."""
    if layer.providerType() != "ogr" or layer.crs() != layer.dataProvider().crs():
        return "", "", ""
    parts = QgsProviderRegistry.instance().decodeUri("ogr", layer.source())
    path, where = str(parts.get("path") or ""), layer.subsetString()
    # a filter that is a query in full is the host's own
    if not os.path.exists(path) or where.lstrip().lower().startswith("select"):
        return "", "", ""
    return os.path.abspath(path), str(parts.get("layerName") or ""), where


def _written(layer, name, context, selected):
    """The features as the host has them, in a GeoPackage of their own."""
    path = QgsProcessingUtils.generateTempFilename(f"{name}.gpkg")
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName, options.layerName, options.onlySelectedFeatures = "GPKG", name, selected
    done = QgsVectorFileWriter.writeAsVectorFormatV3(layer, path, context.transformContext(), options)
    if done[0] != QgsVectorFileWriter.NoError:
        raise QgsProcessingException(f"{layer.name()} cannot be handed over: {done[1]}")
    return path


_READ = {
    "flag": _flag, "yes_no": _yes_no, "file": _file, "folder": _file, "choice": _choice, "integer": _integer,
    "number": _number, "quantity": _number, "raster": _raster, "vector": _vector,
}  # fmt: skip
