"""What an algorithm takes, as the host's typed parameters: label with unit, help, default."""

from qgis.core import (
    QgsProcessing,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterDistance,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterRasterDestination,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorDestination,
    QgsUnitTypes,
)

SHAPES = {
    "polygon": QgsProcessing.TypeVectorPolygon,
    "line": QgsProcessing.TypeVectorLine,
    "point": QgsProcessing.TypeVectorPoint,
}
FILTERS = {
    "gpkg": "GeoPackage (*.gpkg)", "csv": "CSV table (*.csv)", "html": "Page (*.html)", "tif": "GeoTIFF (*.tif)",
}  # fmt: skip
BETWEEN = ";"
"""Between several texts of one parameter."""


def inputs_of(offer):
    """All that an algorithm takes, in order, with what must be said of its files beside."""
    found = []
    for taken in offer["takes"]:
        made = _input(taken)
        made.setHelp(taken["about"])
        if taken.get("rare"):
            made.setFlags(made.flags() | QgsProcessingParameterDefinition.FlagAdvanced)
        found.append(made)
        unit = taken.get("said", {}).get("unit")
        if unit:
            beside = QgsProcessingParameterString(unit_name(taken), f"{label(taken)}: vertical unit", None, False, True)
            beside.setHelp(unit["about"])
            beside.setFlags(beside.flags() | QgsProcessingParameterDefinition.FlagAdvanced)
            found.append(beside)
    return found


def output_of(offer):
    """Where an algorithm writes."""
    given = offer["gives"]
    kind, words = given["kind"], "Result"
    if kind == "folder":
        made = QgsProcessingParameterFolderDestination("out", "Folder for the result")
    elif kind == "raster":
        made = QgsProcessingParameterRasterDestination("out", words)
    elif kind == "vector":
        made = QgsProcessingParameterVectorDestination("out", words)
    else:
        ending = given["ending"]
        made = QgsProcessingParameterFileDestination("out", words, FILTERS.get(ending, f"File (*.{ending})"))
    made.setHelp(given["about"])
    return made


def label(taken):
    """Its name in words, with its unit."""
    words = taken["name"].replace("_", " ")
    unit = f" [{taken['unit']}]" if taken.get("unit") else ""
    several = f" (several between {BETWEEN})" if taken.get("several") and taken["kind"] == "text" else ""
    return words[:1].upper() + words[1:] + unit + several


def unit_name(taken):
    """What the parameter is called that says a raster's vertical unit."""
    return f"{taken['name']}_unit"


def _input(taken):
    name, words, kind = taken["name"], label(taken), taken["kind"]
    optional, default = not taken.get("required"), taken.get("default") or None
    if kind == "file":
        return QgsProcessingParameterFile(
            name, words, QgsProcessingParameterFile.File, taken.get("ending", ""), default, optional
        )
    if kind == "folder":
        return QgsProcessingParameterFile(name, words, QgsProcessingParameterFile.Folder, "", default, optional)
    if kind == "raster":
        return QgsProcessingParameterRasterLayer(name, words, default, optional)
    if kind == "vector":
        shapes = [SHAPES[each] for each in taken["shapes"]] or [QgsProcessing.TypeVectorAnyGeometry]
        return QgsProcessingParameterFeatureSource(name, words, shapes, default, optional)
    if kind == "choice":
        several = bool(taken.get("several"))
        return QgsProcessingParameterEnum(name, words, taken["choices"], several, default, optional, True)
    if kind in ("flag", "yes_no"):
        return QgsProcessingParameterBoolean(name, words, default == "True", optional)
    if kind in ("quantity", "number", "integer"):
        return _number(taken, name, words, default, optional)
    return QgsProcessingParameterString(name, words, default, False, optional)


def _number(taken, name, words, default, optional):
    if default is not None:
        default = int(default) if taken["kind"] == "integer" else float(default)
    if taken.get("measures") == "length":
        made = QgsProcessingParameterDistance(name, words, default, "", optional)
        # the host offers feet and others beside it, and gives what is meant in this
        made.setDefaultUnit(QgsUnitTypes.DistanceMeters)
    else:
        number = QgsProcessingParameterNumber
        made = number(name, words, number.Integer if taken["kind"] == "integer" else number.Double, default, optional)
    if taken.get("least") is not None:
        made.setMinimum(taken["least"])
    if taken.get("most") is not None:
        made.setMaximum(taken["most"])
    return made
