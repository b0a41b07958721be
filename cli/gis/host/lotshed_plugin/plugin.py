"""The plugin: puts the provider of algorithms in place and takes it away."""

from qgis.core import Qgis, QgsApplication
from qgis.PyQt.QtCore import QTimer
from qgis.PyQt.QtWidgets import QFileDialog, QPushButton

from .environment import PROGRAM, find_program, missing_words
from .provider import LotshedProvider


class LotshedPlugin:
    """What the host loads; `iface` is its window, or None where it has none."""

    def __init__(self, iface):
        self.iface = iface
        self.provider = None

    def initProcessing(self):
        """Offer the algorithms; all that a host without a window asks for."""
        self.provider = LotshedProvider()
        QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self):
        """Offer the algorithms, and ask once where lotshed is if it isn't found."""
        self.initProcessing()
        if not self.provider.program() and not self.provider.asked():
            QTimer.singleShot(0, self._ask)

    def unload(self):
        """Take the algorithms away."""
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None

    def _ask(self):
        if self.provider is None:
            return
        bar = self.iface.messageBar()
        message = bar.createMessage("lotshed", "Where is lotshed installed? Its algorithms run it from there.")
        button = QPushButton(f"Choose {PROGRAM} …", message)
        button.clicked.connect(lambda: self._choose(message))
        message.layout().addWidget(button)
        self.provider.note_asked()
        bar.pushWidget(message, Qgis.Info)

    def _choose(self, message):
        window = self.iface.mainWindow()
        path, _ = QFileDialog.getOpenFileName(window, f"Choose the program {PROGRAM} in its environment")
        if not path:
            return
        if find_program(path, elsewhere=False):
            self.provider.set_program(path)
            self.iface.messageBar().popWidget(message)
        else:
            self.iface.messageBar().pushWarning("lotshed", missing_words(path))
