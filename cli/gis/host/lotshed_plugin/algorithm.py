"""One job or step as an algorithm: its parameters read from its description, its work done by lotshed as a process."""

import os
import shlex

from qgis.core import (
    QgsProcessingAlgorithm,
    QgsProcessingException,
    QgsProcessingOutputHtml,
)
from qgis.PyQt.QtGui import QIcon

from .arguments import arguments_of
from .child import Cancelled, ChildError, run_child
from .environment import missing_words
from .parameters import inputs_of, output_of
from .results import gather, group_name, layers_of, load

JOBS, STEPS = "Whole jobs", "Single steps"
OURS = "lotshed"
PAGES = ("report.html", "town.html")
"""What a folder that was written is opened by."""


class LotshedAlgorithm(QgsProcessingAlgorithm):
    """What one entry of the description says."""

    def __init__(self, offer, rasters):
        super().__init__()
        self.offer, self.rasters = offer, rasters

    def createInstance(self):
        """One more of the same."""
        return LotshedAlgorithm(self.offer, self.rasters)

    def name(self):
        """As on the command line."""
        return self.offer["name"]

    def displayName(self):
        """The same as people read it."""
        words = self.offer["name"].replace("-", " ")
        return words[:1].upper() + words[1:]

    def group(self):
        """Ours by what they are, others by who offers them."""
        if self.offer["offered_by"] != OURS:
            return f"Steps of {self.offer['offered_by']}"
        return STEPS if self.offer["command"][0] == "step" else JOBS

    def groupId(self):
        """The same as a word."""
        return self.group().lower().replace(" ", "_")

    def shortDescription(self):
        """What it does."""
        return self.offer["does"]

    def shortHelpString(self):
        """What it does, with all that is said of it."""
        caution = "A pre-screen, not a survey and not an engineer's design. Call before you dig."
        return "\n\n".join(part for part in (self.offer["does"], self.offer["text"], caution) if part)

    def icon(self):
        """The provider's."""
        return self.provider().icon() if self.provider() else QIcon()

    def svgIconPath(self):
        """The same as a file."""
        return self.provider().svgIconPath() if self.provider() else ""

    def initAlgorithm(self, configuration=None):
        """Say what it takes and gives."""
        for each in (*inputs_of(self.offer), output_of(self.offer)):
            self.addParameter(each)
        if self.offer["gives"]["kind"] == "folder" or self.offer["gives"].get("ending") == "html":
            self.addOutput(QgsProcessingOutputHtml("report", "Report"))

    def canExecute(self):
        """Whether lotshed is found, and what to do if not."""
        found = self.provider().program()
        return (True, "") if found else (False, missing_words(self.provider().stated()))

    def prepareAlgorithm(self, parameters, context, feedback):
        """In the host's own thread, where its layers may be looked at."""
        self.fault, self.command = "", []
        try:
            self._prepare(parameters, context)
        except QgsProcessingException as fault:
            # raised here it would be followed by a second message that says nothing
            self.fault = str(fault)
        return True

    def _prepare(self, parameters, context):
        program = self.provider().program()
        if not program:
            raise QgsProcessingException(missing_words(self.provider().stated()))
        given = self.offer["gives"]
        if given["kind"] in ("vector", "raster"):
            self.place = self.parameterAsOutputLayer(parameters, "out", context)
        else:
            self.place = self.parameterAsFileOutput(parameters, "out", context)
        self.place = os.path.abspath(self.place)
        words = arguments_of(self, self.offer, parameters, context)
        self.command = [program, *self.offer["command"], *words, f"{given['flag']}={self.place}"]
        named = next((each for each in ("site", "town") if self.parameterDefinition(each)), None)
        site = self.parameterAsFile(parameters, named, context) if named else ""
        self.called = group_name(site, self.displayName())

    def processAlgorithm(self, parameters, context, feedback):
        """Run lotshed, away from the host's own thread."""
        if self.fault:
            raise QgsProcessingException(self.fault)
        feedback.pushCommandInfo(shlex.join(self.command))

        def tell(done, text):
            if done is None:
                feedback.pushInfo(text)
            else:
                feedback.setProgress(100.0 * done)
                feedback.setProgressText(text)

        try:
            run_child(self.command, tell, feedback.isCanceled)
        except Cancelled:
            raise QgsProcessingException("Cancelled. lotshed has ended; what was there before is untouched.") from None
        except (ChildError, OSError) as fault:
            raise QgsProcessingException(str(fault)) from None
        feedback.setProgress(100.0)
        found = {"out": self.place}
        pages = [self.place] if self.place.endswith(".html") else [os.path.join(self.place, name) for name in PAGES]
        written = [page for page in pages if os.path.isfile(page)]
        return {**found, "report": written[0]} if written else found

    def postProcessAlgorithm(self, context, feedback):
        """Load what was written, in the host's own thread again."""
        kind = self.offer["gives"]["kind"]
        if kind in ("vector", "raster"):
            gather(self.place, self.called, self.displayName(), context)
        else:
            load(layers_of(self.place, self.rasters, self.displayName()), self.called, "out", context)
        return {}
