"""Files made to do harm, and the small lot that they are given to."""

import importlib.util
import shutil
import socket
import sqlite3
import struct
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from click.testing import CliRunner, Result
from shapely import box

from cli.main import app

_LOTS = Path(__file__).parents[1] / "pipelines" / "lot" / "conftest.py"


@pytest.fixture(scope="session")
def lots() -> Any:
    """What makes lots for tests."""
    specification = importlib.util.spec_from_file_location("lots_for_hostile", _LOTS)
    assert specification is not None
    assert specification.loader is not None
    module = importlib.util.module_from_spec(specification)
    sys.modules[specification.name] = module
    specification.loader.exec_module(module)
    return module


@pytest.fixture
def run() -> Callable[..., Result]:
    """A command in this process."""

    def invoke(*arguments: str | Path) -> Result:
        return CliRunner().invoke(app, [str(each) for each in arguments], prog_name="lotshed")

    return invoke


@pytest.fixture(scope="session")
def small_lot(lots: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a small lot, for `lot` to copy."""
    site: Path = lots.write_small_lot(tmp_path_factory.mktemp("small") / "lot")
    return site.parent


@pytest.fixture
def lot(small_lot: Path, tmp_path: Path) -> Path:
    """Site file of a small lot; beside it ground.tif and shapes.gpkg."""
    return Path(shutil.copytree(small_lot, tmp_path / "lot")) / "site.toml"


@pytest.fixture
def refused(run: Callable[..., Result]) -> Callable[..., str]:
    """The one message with which a command refuses its input."""

    def refuse(*arguments: str | Path) -> str:
        result = run(*arguments)
        assert result.exit_code == 2, (result.exit_code, result.stderr[-500:], result.exception)
        assert result.stdout == ""
        assert result.stderr.count("Error:") == 1
        assert len(result.stderr) < 2500
        return result.stderr

    return refuse


@pytest.fixture
def listener() -> Iterator[Any]:
    """A server on loopback that counts who comes; `listener.url` is where."""

    class Listener:
        hits = 0

    server = socket.create_server(("127.0.0.1", 0))
    found = Listener()
    found.url = f"http://127.0.0.1:{server.getsockname()[1]}"  # type: ignore[attr-defined]

    def answer() -> None:
        while True:
            try:
                caller, _ = server.accept()
            except OSError:
                return
            found.hits += 1
            caller.close()

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    yield found
    server.shutdown(socket.SHUT_RDWR)
    server.close()
    thread.join(5)


def write_blobs(path: Path, blobs: list[bytes], *, kind: str = "GEOMETRY", layer: str = "s", crs: int = 32617) -> Path:
    """A GeoPackage whose shapes are these bytes, whatever they are worth."""
    made = gpd.GeoDataFrame({"kind": ["swale"] * len(blobs)}, geometry=[box(0, 0, 1, 1)] * len(blobs), crs=crs)
    made.to_file(path, layer=layer, engine="pyogrio", SPATIAL_INDEX="NO")
    with sqlite3.connect(path) as database:
        database.execute("update gpkg_geometry_columns set geometry_type_name = ?", (kind,))
        for number, blob in enumerate(blobs, start=1):
            head = b"GP\0\1" + struct.pack("<i", crs)
            database.execute(f"update {layer} set geom = ? where fid = ?", (head + blob, number))
    database.close()
    return path


@pytest.fixture(name="write_blobs")
def write_blobs_fixture() -> Callable[..., Path]:
    return write_blobs
