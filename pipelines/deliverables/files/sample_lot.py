"""The sample lot that comes with lotshed: invented ground, layers and tables, and the site file that names them."""

from functools import partial
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.place import hand_over

SITE = "site.toml"
# as it is called in the sample neighbourhood, of which it is one lot
FILES = {
    "ground.tif": "ground.tif",
    "neighbourhood.gpkg": "neighbourhood.gpkg",
    "rain.csv": "rain.csv",
    "pump.csv": "pump.csv",
    "prices.csv": "prices.csv",
    SITE: "lot_01.toml",
}


def write_sample_lot(folder: Path) -> Path:
    """Write it into a new or empty folder; gives its site file."""
    if folder.is_dir() and any(folder.iterdir()):
        raise HandoverError(f"{folder} is not empty. Give --sample a new or empty folder.")
    hand_over(folder, {name: partial(_copy, source) for name, source in FILES.items()}, overwrite=False)
    return folder / SITE


def _copy(source: str, place: Path) -> None:
    place.write_bytes((_kept() / source).read_bytes())


def _kept() -> Traversable:
    """Inside the installed package, or beside it in a clone."""
    package = files("pipelines")
    inside = package / "sample"
    return inside if inside.is_dir() else Path(str(package)).parent / "sample_data"
