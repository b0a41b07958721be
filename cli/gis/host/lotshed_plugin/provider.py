"""The provider: what lotshed can do, as algorithms of the GIS, and the setting that says where lotshed is."""

import json
import os

from processing.core.ProcessingConfig import ProcessingConfig, Setting, settingsWatcher
from qgis.core import Qgis, QgsApplication, QgsMessageLog, QgsProcessingProvider, QgsSettings
from qgis.PyQt.QtGui import QIcon

from .algorithm import LotshedAlgorithm
from .environment import describe, find_program

FOLDER = os.path.dirname(__file__)
GROUP = "lotshed"
PLACE = "LOTSHED_PLACE"
ASKED = "lotshed/asked_for_its_place"


class LotshedProvider(QgsProcessingProvider):
    """Offers what the lotshed that was found says it can do; where none is, what the one that wrote the plugin said."""

    def __init__(self):
        super().__init__()
        with open(os.path.join(FOLDER, "description.json"), encoding="utf-8") as file:
            self.packed = json.load(file)
        self.version = self.packed["version"]

    def id(self):
        """Before the colon of each algorithm's id."""
        return "lotshed"

    def name(self):
        """As people read it."""
        return "lotshed"

    def longName(self):
        """With the version that was asked."""
        return f"lotshed {self.version}: drainage of a lot"

    def icon(self):
        """A catch basin, as on lotshed's maps."""
        return QIcon(self.svgIconPath())

    def svgIconPath(self):
        """The same as a file."""
        return os.path.join(FOLDER, "icon.svg")

    def supportedOutputVectorLayerExtensions(self):
        """Steps write GeoPackages."""
        return ["gpkg"]

    def supportedOutputRasterLayerExtensions(self):
        """And GeoTIFF."""
        return ["tif"]

    def load(self):
        """Add the setting, and offer anew whenever settings change."""
        ProcessingConfig.settingIcons[GROUP] = self.icon()
        words = "Where lotshed is: its environment's folder, or the program"
        ProcessingConfig.addSetting(Setting(GROUP, PLACE, words, "", valuetype=Setting.FILE))
        ProcessingConfig.readSettings()
        settingsWatcher.settingsChanged.connect(self.refreshAlgorithms)
        self.refreshAlgorithms()
        return True

    def unload(self):
        """Take the setting away."""
        settingsWatcher.settingsChanged.disconnect(self.refreshAlgorithms)
        ProcessingConfig.removeSetting(PLACE)

    def stated(self):
        """Where a person said lotshed is."""
        return str(ProcessingConfig.getSetting(PLACE) or "").strip()

    def program(self):
        """The program to run; empty where there is none."""
        return find_program(self.stated(), self.packed["program"])

    def set_program(self, path):
        """Keep where lotshed is."""
        ProcessingConfig.setSettingValue(PLACE, path)
        self.refreshAlgorithms()

    def asked(self):
        """Whether a person was asked before."""
        return QgsSettings().value(ASKED, False, type=bool)

    def note_asked(self):
        """Don't ask again."""
        QgsSettings().setValue(ASKED, True)

    def loadAlgorithms(self):
        """One for each job and step."""
        cache = os.path.join(QgsApplication.qgisSettingsDirPath(), "lotshed", "description.json")
        told, said = describe(self.program(), self.packed, cache)
        if said:
            QgsMessageLog.logMessage(said, "lotshed", Qgis.Warning)
        self.version = told["version"]
        for offer in told["algorithms"]:
            self.addAlgorithm(LotshedAlgorithm(offer, told.get("rasters", {})))
