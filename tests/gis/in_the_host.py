"""One sitting in the GIS, run by the GIS's own Python: does what a person would and writes down what was seen.

Not a test by itself: `test_in_the_gis.py` starts it and looks at what it wrote.
"""

import importlib
import json
import os
import sys

from qgis.core import (
    QgsApplication,
    QgsFeature,
    QgsGeometry,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsProcessingContext,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingFeedback,
    QgsProject,
    QgsRasterLayer,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize

TOLD = json.loads(sys.argv[1])
FOLDER = TOLD["folder"]
SAMPLE = TOLD["sample"]
SEEN = {}


class Feedback(QgsProcessingFeedback):
    """Keeps what is said, and cancels where it is told to."""

    def __init__(self, cancel_at=None):
        super().__init__(False)
        self.cancel_at, self.steps, self.said = cancel_at, [], []
        self.progressChanged.connect(self.moved)

    def moved(self, percent):
        self.steps.append(percent)
        if self.cancel_at is not None and percent >= self.cancel_at:
            self.cancel()

    def pushInfo(self, text):
        self.said.append(text)

    def pushCommandInfo(self, text):
        self.said.append(text)

    def setProgressText(self, text):
        self.said.append(text)

    def reportError(self, text, fatal=False):
        self.said.append(text)


def run(name, parameters, feedback=None):
    """As the toolbox does; gives the results, or the message of the one error."""
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    feedback = feedback or Feedback()
    try:
        given = processing.runAndLoadResults(f"lotshed:{name}", parameters, feedback=feedback, context=context)
    except Exception as fault:
        return {"error": str(fault), "said": feedback.said, "steps": feedback.steps}
    return {"given": given, "said": feedback.said, "steps": feedback.steps}


def tree(node):
    """The layer tree as names; groups as dicts."""
    return [{each.name(): tree(each)} if each.children() else each.name() for each in node.children()]


def parameters_of(algorithm):
    """Name, type, label, whether it may be left out, help and default."""
    return {
        each.name(): [each.type(), each.description(), bool(each.flags() & each.FlagOptional), each.help(),
                      each.defaultValue()]
        for each in algorithm.parameterDefinitions()
    }  # fmt: skip


def screened(project):
    """Screen the first sample lot, and draw what was loaded."""
    seen = run("screen", {"site": f"{SAMPLE}/lot_01.toml", "grounds": 5, "out": f"{FOLDER}/lot"})
    root = project.layerTreeRoot()
    seen["tree"] = tree(root)
    layers = [node.layer() for node in root.findLayers()]
    seen["layers"] = {
        layer.source().rpartition("layername=")[2]: [layer.featureCount(), layer.renderer().type()]
        for layer in layers if isinstance(layer, QgsVectorLayer) and layer.isSpatial()
    }  # fmt: skip
    seen["rasters"] = [layer.renderer().type() for layer in layers if isinstance(layer, QgsRasterLayer)]
    drawn = QgsMapSettings()
    drawn.setLayers([layer for layer in layers if layer.isSpatial()])
    lot = next(layer for layer in layers if layer.name() == "Lot")
    drawn.setDestinationCrs(lot.crs())
    extent = lot.extent()
    extent.scale(1.2)
    drawn.setExtent(extent)
    drawn.setOutputSize(QSize(1400, 1100))
    job = QgsMapRendererParallelJob(drawn)
    job.start()
    job.waitForFinished()
    job.renderedImage().save(f"{FOLDER}/lot.png")
    written = job.takeLabelingResults().allLabels()
    names = {layer.id(): layer.name() for layer in layers}
    seen["written"] = sorted({names[each.layerID] for each in written})
    seen["errors"] = [each.message for each in job.errors()]
    return seen


def other_jobs(project):
    """The other whole jobs, on the small street: what they give, what is loaded, and how it is drawn."""
    seen = {}
    for job, given, site, place in (
        ("trace", "site", "ember_lane_1", "trace.html"), ("swale", "site", "ember_lane", "swale"),
        ("town", "town", "ember_lane", "town"),
    ):  # fmt: skip
        project.clear()
        more = {"grounds": 1} if job == "town" else {}
        seen[job] = run(job, {given: f"{SAMPLE}/{site}.toml", "out": f"{FOLDER}/{place}", **more})
        layers = [node.layer() for node in project.layerTreeRoot().findLayers()]
        seen[job]["tree"] = tree(project.layerTreeRoot())
        seen[job]["drawn"] = {
            layer.source().rpartition("layername=")[2]: layer.renderer().type()
            for layer in layers if isinstance(layer, QgsVectorLayer) and layer.isSpatial()
        }  # fmt: skip
    return seen


def stepped(project):
    """A step on layers that are open here: a raster, a file with a filter, and shapes in memory alone."""
    ground = QgsRasterLayer(f"{SAMPLE}/ground.tif", "ground")
    lots = QgsVectorLayer(f"{SAMPLE}/neighbourhood.gpkg|layername={TOLD['parcels']}", "lots", "ogr")
    lots.setSubsetString(TOLD["filter"])
    roofs = QgsVectorLayer(f"Polygon?crs={ground.crs().authid()}", "drawn", "memory")
    feature = QgsFeature()
    middle = lots.extent()
    middle.scale(0.1)
    feature.setGeometry(QgsGeometry.fromRect(middle))
    roofs.dataProvider().addFeatures([feature])
    project.addMapLayers([ground, lots, roofs], False)
    given = {"elevation": ground.id(), "parcel": lots.id(), "roofs": roofs.id(), "min_depth": 0.05}
    seen = run("low-spots", {**given, "out": f"{FOLDER}/low.gpkg"})
    # the same features by another way: chosen by hand, and no filter
    lots.setSubsetString("")
    lots.selectByExpression(TOLD["filter"])
    chosen = QgsProcessingFeatureSourceDefinition(lots.id(), True)
    again = run("low-spots", {**given, "parcel": chosen, "out": f"{FOLDER}/low_again.gpkg"})
    seen["again"] = again
    # what the step wrote, open here, is what the next one takes
    low = QgsVectorLayer(f"{FOLDER}/lot/lot.gpkg|layername=low_spots", "low", "ogr")
    project.addMapLayer(low, False)
    seen["next"] = run(
        "troubles", {"site": f"{SAMPLE}/lot_01.toml", "low_spots": low.id(), "out": f"{FOLDER}/troubles.gpkg"}
    )
    return seen


# where its own plugins are
sys.path.append(TOLD["toolbox"])
application = QgsApplication([], False)
application.initQgis()
# its toolbox comes to life with the application
processing = importlib.import_module("processing")
importlib.import_module("processing.core.Processing").Processing.initialize()
sys.path.insert(0, TOLD["plugins"])
lotshed_plugin = importlib.import_module("lotshed_plugin")

# what a host's start script sets, and what would mislead another Python
os.environ.update({"PYTHONHOME": "/nowhere", "PYTHONPATH": "/nowhere", "GDAL_DATA": "/nowhere", "PROJ_LIB": "/nowhere"})
plugin = lotshed_plugin.classFactory(None)
plugin.initProcessing()
provider = plugin.provider
SEEN["packed"] = sorted(each.name() for each in provider.algorithms())
SEEN["missing"] = run("screen", {"site": f"{SAMPLE}/lot_01.toml", "out": f"{FOLDER}/never"})
SEEN["missing"]["can"] = list(provider.algorithm("screen").canExecute())
provider.set_program(TOLD["environment"])
SEEN["algorithms"] = {
    each.name(): {"group": each.group(), "parameters": parameters_of(each), "help": each.shortHelpString()}
    for each in provider.algorithms()
}
SEEN["wrong"] = run("screen", {"site": f"{SAMPLE}/nothing.toml", "out": f"{FOLDER}/never"})
SEEN["screened"] = screened(QgsProject.instance())
SEEN["cancelled"] = run(
    "screen", {"site": f"{SAMPLE}/lot_01.toml", "out": f"{FOLDER}/cancelled/lot"}, Feedback(cancel_at=20)
)
SEEN["left"] = sorted(os.listdir(f"{FOLDER}/cancelled"))
SEEN["stepped"] = stepped(QgsProject.instance())
SEEN["jobs"] = other_jobs(QgsProject.instance())
plugin.unload()
with open(f"{FOLDER}/seen.json", "w", encoding="utf-8") as file:
    json.dump(SEEN, file, default=str)
application.exitQgis()
