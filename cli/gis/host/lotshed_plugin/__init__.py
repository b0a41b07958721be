"""lotshed in a desktop GIS. Runs inside the GIS's own Python, where nothing of lotshed is installed."""


def classFactory(iface):
    """What the host asks a plugin for."""
    from .plugin import LotshedPlugin

    return LotshedPlugin(iface)
