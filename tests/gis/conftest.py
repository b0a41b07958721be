"""A lotshed program with a step of another package beside it, as an environment of its own would have it."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MADE_STEP = '''
from typing import Annotated, Literal

from geopandas import GeoDataFrame
from pydantic import BaseModel, Field

from pipelines.steps.quantities import Flow, Length


class Choice(BaseModel):
    by: Length = Field(0.5, description="How far.")
    inflow: Flow | None = Field(None, description="What arrives.")
    times: int = Field(2, description="How often.")
    round_ends: bool = Field(True, description="Whether ends are round.")
    kind: Literal["low", "high"] = Field("low", description="Which.")


def grow_shapes(roofs: Annotated[GeoDataFrame, "Outlines."], *, parameters: Choice) -> GeoDataFrame:
    """Grow shapes.

    By a length.
    """
    return roofs.assign(geometry=roofs.buffer(parameters.by * parameters.times))
'''


@pytest.fixture(scope="session")
def made_package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a package that offers the step grow-shapes, with the metadata that an installer leaves."""
    folder = tmp_path_factory.mktemp("made_package")
    (folder / "made_shapes.py").write_text(MADE_STEP)
    told = folder / "made_shapes-1.0.dist-info"
    told.mkdir()
    (told / "METADATA").write_text("Metadata-Version: 2.1\nName: made-shapes\nVersion: 1.0\n")
    (told / "entry_points.txt").write_text("[lotshed.steps]\ngrow-shapes = made_shapes:grow_shapes\n")
    return folder


@pytest.fixture(scope="session")
def make_program(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """What writes a program lotshed that has further folders on its path, and gives its environment's folder."""

    def make(*folders: Path, name: str = "environment") -> Path:
        environment = tmp_path_factory.mktemp(name)
        program = environment / "bin" / "lotshed"
        program.parent.mkdir()
        path = ":".join(str(folder) for folder in (ROOT, *folders))
        program.write_text(f'#!/bin/sh\nPYTHONPATH={path} exec {sys.executable} -m cli "$@"\n')
        program.chmod(0o755)
        return environment

    return make
