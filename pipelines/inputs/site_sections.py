"""The sections of a site file: what may stand in each, and in what form.

Quantities are SI once read; `file`, `table` and `curve` are paths resolved against the site file's folder.
"""

from functools import partial
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, model_validator

from pipelines.inputs.site_ranges import quantity_in_range
from terrain.reading.named_file import address_of
from terrain.shown_text import quoted
from terrain.unit_table import HOUR, MINUTE, si_factor

# World records of rain lie under 491 mm times the hours to the power of 0.452 (World Meteorological Organization,
# Manual on Estimation of Probable Maximum Precipitation, WMO-No. 1045, 2009; from memory).
_RECORD, _RECORD_POWER, _BEYOND = 0.491, 0.452, 1.5


def within(key: str) -> BeforeValidator:
    """Reads a quantity of the key's range, in SI."""
    return BeforeValidator(partial(quantity_in_range, key=key))


def _resolved(value: object, info: ValidationInfo) -> Path:
    if not isinstance(value, str) or not value.strip():
        raise ValueError("must be a path in quotes, relative to the site file or absolute")
    path = Path(info.context["folder"], value) if info.context else Path(value)
    if not _exists(path):
        raise ValueError(
            f"{quoted(value)} does not exist (looked for {quoted(str(path))}); correct the path, which is absolute or "
            "relative to the site file"
        )
    return path


def _file_or_address(value: object, info: ValidationInfo) -> Path:
    """A raster may also be read, by the parts that are needed, from an address that a person typed."""
    if isinstance(value, str) and address_of(Path(value)) is not None:
        return Path(value)
    return _resolved(value, info)


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):
        # a name that no file system takes
        return False


def _year(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{quoted(value)} is no year; write it plainly, as in 2019")
    return value


Coordinate = Annotated[float, Field(allow_inf_nan=False, ge=-1e9, le=1e9)]
ExistingPath = Annotated[Path, BeforeValidator(_resolved)]
PathOrAddress = Annotated[Path, BeforeValidator(_file_or_address)]
CompassSide = Literal["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"]
StreetSides = Annotated[
    tuple[CompassSide, ...], BeforeValidator(lambda value: (value,) if isinstance(value, str) else value)
]
Year = Annotated[int, BeforeValidator(_year), Field(ge=1500, le=2200)]


class Section(BaseModel):
    """A table of the site file; unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class VectorFile(Section):
    """Where a layer of shapes is: file, layer within it, which of its features; crs for a file that names none."""

    file: ExistingPath
    layer: str | None = None
    where: str | None = None
    crs: str | None = None


class ParcelFile(VectorFile):
    """[parcel]: the lot; street_side names the side or sides that the street is on, where the parcels don't show it."""

    street_side: StreetSides = ()


class Elevation(Section):
    """[elevation]: the ground raster; rmse [m]; grounds that are drawn, 1 for the raster as it is."""

    file: PathOrAddress
    unit: Literal["m", "ft", "ftUS"] | None = None
    rmse: Annotated[float, within("elevation.rmse")] | None = None
    flown: Year | None = None
    grounds: Annotated[int, Field(strict=True, ge=1, le=1000)] | None = None


class House(Section):
    """[house]: floor as a level in the raster's datum [m], footing_depth below ground [m]."""

    foundation: Literal["slab", "crawl", "basement"] | None = None
    floor: Annotated[float, within("house.floor")] | None = None
    footing_depth: Annotated[float, within("house.footing_depth")] | None = None
    built: Year | None = None


class Traced(Section):
    """[traced]: what was drawn on the page to trace on, in the place of the tables that it holds."""

    file: ExistingPath


class Picture(Section):
    """[picture]: any raster, drawn under the maps."""

    file: PathOrAddress


class Levels(Section):
    """[levels]: shots of a level; crs of their easting and northing where it is not the map's."""

    file: ExistingPath
    crs: str | None = None


class Rain(Section):
    """[rain]: a table, or one depth [m] and duration [s]; return_period [yr].

    distribution is how it falls in time: nested where it is silent; constant only for a depth and duration. type is
    the NRCS type of rainfall whose ratios say how much of a depth falls in its heaviest minutes.
    """

    table: ExistingPath | None = None
    depth: Annotated[float, within("rain.depth")] | None = None
    duration: Annotated[float, within("rain.duration")] | None = None
    return_period: Annotated[float, within("rain.return_period")] | None = None
    distribution: Literal["nested", "constant", "I", "IA", "II", "III"] | None = None
    type: Literal["I", "IA", "II", "III"] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> "Rain":
        if self.table is not None and (self.depth is not None or self.duration is not None):
            raise ValueError("give either table or depth and duration, not both")
        if self.table is not None and (self.type is not None or self.distribution == "constant"):
            key = "type" if self.type is not None else 'distribution = "constant"'
            raise ValueError(f"{key} is for a depth and duration; a table says itself how much falls in how long")
        if self.type is not None and self.distribution not in (None, "nested"):
            raise ValueError("give either type, or a distribution that is not nested, not both")
        if (self.depth is None) != (self.duration is None):
            missing = "duration" if self.duration is None else "depth"
            raise ValueError(f"{missing} is missing; one storm is given by depth and duration together")
        if self.depth is not None and self.duration is not None:
            if self.depth > _BEYOND * _RECORD * (self.duration / HOUR) ** _RECORD_POWER:
                raise ValueError(
                    f"{self.depth / si_factor('mm'):,.0f} mm in {self.duration / MINUTE:,.0f} min is more than any "
                    "storm has brought; check depth and duration and their units"
                )
            if self.return_period is not None:
                raise ValueError("return_period goes with a table; one storm is given by depth and duration alone")
        return self


class Soil(Section):
    """[soil]: hydrologic group, a layer with an attribute `group`, or both, the group outside its shapes; cover.

    tested_rate is a soaking rate tested on site [m/s], water_table its depth below ground [m]; compacted false
    says that the soil was never driven over or filled.
    """

    group: Literal["A", "B", "C", "D", "A/D", "B/D", "C/D"] | None = None
    file: ExistingPath | None = None
    layer: str | None = None
    where: str | None = None
    crs: str | None = None
    cover: str | None = None
    compacted: bool = True
    tested_rate: Annotated[float, within("soil.tested_rate")] | None = None
    water_table: Annotated[float, within("soil.water_table")] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> "Soil":
        if self.file is None and (self.layer is not None or self.where is not None or self.crs is not None):
            raise ValueError("layer, where and crs need a file")
        return self

    @property
    def source(self) -> VectorFile | None:
        """The layer of soils, where one is given."""
        if self.file is None:
            return None
        return VectorFile.model_construct(file=self.file, layer=self.layer, where=self.where, crs=self.crs)


class Pump(Section):
    """[pump]: the curve of the pump that the estimator carries."""

    curve: ExistingPath


class PriceFile(Section):
    """[prices]: prices that replace the defaults of the same item."""

    file: ExistingPath


class BasinPlaces(Section):
    """Basins whose place is fixed: points [easting, northing] in the map's coordinates, or a layer of points."""

    points: tuple[tuple[Coordinate, Coordinate], ...] = ()
    file: ExistingPath | None = None
    layer: str | None = None
    where: str | None = None
    crs: str | None = None

    @model_validator(mode="before")
    @classmethod
    def _from_list(cls, value: Any) -> Any:
        return {"points": value} if isinstance(value, list) else value

    @model_validator(mode="after")
    def _one_way(self) -> "BasinPlaces":
        if bool(self.points) == (self.file is not None):
            raise ValueError("give a list of [easting, northing], or a file with a layer of points")
        return self

    @property
    def source(self) -> VectorFile | None:
        """The layer of basins, where one is given."""
        if self.file is None:
            return None
        return VectorFile.model_construct(file=self.file, layer=self.layer, where=self.where, crs=self.crs)


class Layout(Section):
    """[layout]: choices that the plan must keep: slope [-], cover [m], pipe as named in the catalogue.

    gate is the width of the way in [m], soil what is dug: both count in the hours and the spoil. keep_dry is the
    return period of a storm [yr] in which no water is to stand on paving.
    """

    basins: BasinPlaces | None = None
    forbidden: VectorFile | None = None
    pipe: str | None = None
    slope: Annotated[float, within("layout.slope")] | None = None
    cover: Annotated[float, within("layout.cover")] | None = None
    lift: Literal["gravity", "pump"] | None = None
    gate: Annotated[float, within("layout.gate")] | None = None
    keep_dry: Annotated[float, within("layout.keep_dry")] | None = None
    soil: Literal["sand", "earth", "clay"] | None = None


class Swales(VectorFile):
    """[swales]: lines of swales, drawn downstream, and how they are checked.

    spacing between stations, freeboard, max_depth and max_top_width of a re-cut [m], side_slope of a re-cut [-],
    roughness as Manning's n [-], downstream_level of the water at the lower end [m], discharges: folders of lots'
    results.
    """

    spacing: Annotated[float, within("swales.spacing")] | None = None
    freeboard: Annotated[float, within("swales.freeboard")] | None = None
    roughness: Annotated[float, Field(gt=0.005, lt=1.0)] | None = None
    discharges: tuple[ExistingPath, ...] = ()
    downstream_level: Annotated[float, within("swales.downstream_level")] | None = None
    cover: str | None = None
    max_depth: Annotated[float, within("swales.max_depth")] | None = None
    max_top_width: Annotated[float, within("swales.max_top_width")] | None = None
    side_slope: Annotated[float, within("swales.side_slope")] | None = None
    bottom_width: Annotated[float, within("swales.bottom_width")] | None = None

    @model_validator(mode="before")
    @classmethod
    def _one_folder(cls, value: Any) -> Any:
        if isinstance(value, dict) and isinstance(value.get("discharges"), str):
            return value | {"discharges": [value["discharges"]]}
        return value
