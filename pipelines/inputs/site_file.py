"""The site file: one TOML that names a lot's ground, shapes, rain, soil and choices.

`read_site_file(path) -> SiteFile` (frozen). Its attributes are the file's tables: `site.elevation.file`,
`site.rain.return_period`, `site.roofs` (a `VectorFile` or None), `site.house.foundation`; quantities are SI,
paths resolved. `site.rules` holds the defaults with the file's overrides in place.
"""

import difflib
import os
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from pydantic import ConfigDict, Field, ValidationError, field_validator

from pipelines.inputs.errors import InputFileError, SiteFileError
from pipelines.inputs.rules import MOST_FAULTS, RuleOverride, Rules, load_rules, read_overrides
from pipelines.inputs.site_faults import fault_lines
from pipelines.inputs.site_sections import (
    Elevation,
    House,
    Layout,
    Levels,
    ParcelFile,
    Picture,
    PriceFile,
    Pump,
    Rain,
    Section,
    Soil,
    Swales,
    Traced,
    VectorFile,
)
from pipelines.inputs.traced.site_tables import with_traced
from terrain.reading.named_file import read_named_file
from terrain.shown_text import shown


class SiteFile(Section):
    """What a site file says; only elevation and parcel are always there."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)

    path: Path = Field(exclude=True)
    name: str = ""
    units: Literal["us", "si"] = "us"
    elevation: Elevation
    parcel: ParcelFile
    house: House = House()
    roofs: VectorFile | None = None
    hardscape: VectorFile | None = None
    barriers: VectorFile | None = None
    keep_out: VectorFile | None = None
    utilities: VectorFile | None = None
    right_of_way: VectorFile | None = None
    downspouts: VectorFile | None = None
    culverts: VectorFile | None = None
    outfalls: VectorFile | None = None
    complaints: VectorFile | None = None
    traced: Traced | None = None
    picture: Picture | None = None
    levels: Levels | None = None
    rain: Rain = Rain()
    soil: Soil = Soil()
    pump: Pump | None = None
    prices: PriceFile | None = None
    layout: Layout = Layout()
    overrides: tuple[RuleOverride, ...] = Field(default=(), alias="rules")
    swales: Swales | None = None

    @field_validator("overrides", mode="before")
    @classmethod
    def _read_rules(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            raise ValueError("must be a table of rules by name")
        return read_overrides(value)

    @property
    def rules(self) -> Rules:
        """Rules of the trade with this site's overrides, and what it says of its lidar, in place."""
        said = {"lidar_rmse": self.elevation.rmse, "grounds": self.elevation.grounds}
        given = [RuleOverride(key, None, float(value), None) for key, value in said.items() if value is not None]
        return load_rules().with_overrides((*self.overrides, *given))

    @property
    def folder(self) -> Path:
        """Folder that the paths in it are relative to."""
        return self.path.parent


SECTIONS = tuple(
    field.alias or name for name, field in SiteFile.model_fields.items() if name != "path"
)


def read_site_file(
    path: str | os.PathLike[str],
    *,
    traced: Path | None = None,
    changed: Callable[[dict[str, Any]], dict[str, Any]] = dict,
) -> SiteFile:
    """Read and check a site file; files it names must exist.

    `traced` is read in the place of the one it names, and `changed` gives what is checked in the place of its tables.
    """
    path = Path(path)
    table = changed(_read_toml(path))
    if traced is not None:
        table["traced"] = {"file": str(traced.absolute())}
    own_path = [f'unknown key "path"; {_near("path")}'] if "path" in table else []
    table.pop("path", None)
    table = with_traced(table, path.parent)
    try:
        site = SiteFile.model_validate(table | {"path": path}, context={"folder": path.parent})
    except ValidationError as error:
        faults = own_path + fault_lines(error, SiteFile)
    else:
        faults = own_path
        if not faults:
            return site
    count = "1 fault" if len(faults) == 1 else f"{len(faults):,} faults"
    if len(faults) > MOST_FAULTS:
        faults[MOST_FAULTS:] = [f"and {len(faults) - MOST_FAULTS:,} more"]
    raise SiteFileError(f"site file {path} has {count}:\n  " + "\n  ".join(faults))


def _read_toml(path: Path) -> dict[str, Any]:
    missing = "does not exist; `lotshed start` writes one"
    try:
        text = read_named_file(path, f"site file {path}", InputFileError, missing=missing).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SiteFileError(f"site file {path} is no text in UTF-8 (byte {error.start}); save it as UTF-8") from None
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise SiteFileError(f"site file {path} nests too deep: it is a file of tables with keys") from None
    except ValueError as error:
        raise SiteFileError(
            f"site file {path} is broken TOML: {shown(str(error))}; texts stand in quotes, one key a line"
        ) from None


def _near(key: str) -> str:
    near = difflib.get_close_matches(key, SECTIONS, n=1)
    return f'did you mean "{near[0]}"?' if near else f"known are {', '.join(SECTIONS)}"
