"""The attributes that each layer may bring, and the form they take inside.

A length stands in a column whose name carries its unit (`depth_m`, `depth_in`, `depth_ft`, `depth_cm`, `depth_mm`), or
as text with its unit in a column without one (`depth` = "2 in"); inside it is always in metres under `<name>_m`.
"""

import datetime
from dataclasses import dataclass
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import pandas as pd

from pipelines.inputs.errors import LayerError, QuantityError
from pipelines.inputs.quantity import read_quantity
from terrain.unit_table import si_factor, units_of

Form = Literal["text", "yes_no", "number", "length"]
_SHAPEFILE_NAME = 10
_WHOLE = 2.0**53
_YES = {"1", "1.0", "true", "t", "yes", "y"}
_NO = {"0", "0.0", "false", "f", "no", "n", ""}


@dataclass(frozen=True, slots=True)
class Attribute:
    """An attribute.

    Attributes
    ----------
    name : str
        Without unit; a length becomes `<name>_m`.
    default : object
        Where a feature is silent.
    allowed : tuple of str
        Texts that it may hold; any where empty.
    least, most : float or None
        Least and most value of a number or length that means anything. [SI]
    """

    name: str
    form: Form = "text"
    default: Any = ""
    allowed: tuple[str, ...] = ()
    required: bool = False
    least: float | None = None
    most: float | None = None

    @property
    def inside(self) -> str:
        """Its name inside."""
        return f"{self.name}_m" if self.form == "length" else self.name


def read_columns(frame: gpd.GeoDataFrame, columns: tuple[Attribute, ...], where: str) -> gpd.GeoDataFrame:
    """Bring a layer's attributes to their declared names, forms and defaults."""
    own = {str(name).lower(): name for name in reversed(frame.columns) if name not in ("id", frame.geometry.name)}
    _restore_keywords(own, columns)
    faults = _restore_cut_names(frame, own, columns)
    read: dict[str, Any] = {"id": frame["id"].to_numpy(dtype=object)}
    for column in columns:
        if column.form == "length":
            read[column.inside] = _lengths(frame, own, column, faults)
        elif column.name in own:
            read[column.inside] = _values(frame, own[column.name], column, faults)
        else:
            if column.required and len(frame):
                faults.append(f"it has no attribute {column.name}, which says {' or '.join(column.allowed)}")
            read[column.inside] = _defaults(column, len(frame))
    if faults:
        shown = faults[:5] + ([f"and {len(faults) - 5} more"] if len(faults) > 5 else [])
        raise LayerError(f"{where}: " + "; ".join(shown))
    # texts and names as plain objects: rows of a layer are taken in a third of the time
    held = {
        name: pd.Series(values, dtype=object) if values.dtype == object else values for name, values in read.items()
    }
    found = gpd.GeoDataFrame(held, geometry=frame.geometry.to_numpy(), index=range(len(frame)))
    found.columns = found.columns.astype(object)
    return found


def _restore_keywords(own: dict[str, Any], columns: tuple[Attribute, ...]) -> None:
    """Know names to which a geodatabase sets an underscore, since they are words of its own: group, where."""
    for name in (name for column in columns for name in _names_of(column)):
        if name not in own and f"{name}_" in own:
            own[name] = own[f"{name}_"]


def _restore_cut_names(frame: gpd.GeoDataFrame, own: dict[str, Any], columns: tuple[Attribute, ...]) -> list[str]:
    """Give names their ends back that a shapefile cuts to ten letters; faults where what is there may mean several."""
    names = [name for column in columns for name in _names_of(column)]
    faults = []
    for cut in [name for name in own if len(name) == _SHAPEFILE_NAME and name not in names]:
        meant = [name for name in names if len(name) > _SHAPEFILE_NAME and name.startswith(cut)]
        if len(meant) == 1 and meant[0] not in own:
            own[meant[0]] = own[cut]
        elif len(meant) > 1 and bool(frame[own[cut]].notna().any()):
            faults.append(
                f"the attribute {cut} was cut short by the file's format, and may be {' or '.join(meant)}; "
                "write a GeoPackage instead"
            )
    return faults


def _names_of(column: Attribute) -> list[str]:
    return [f"{column.name}_{unit}" for unit in units_of("length")] if column.form == "length" else [column.name]


def _values(frame: gpd.GeoDataFrame, name: str, column: Attribute, faults: list[str]) -> Any:
    values = _defaults(column, len(frame))
    for position, (feature, value) in enumerate(zip(frame["id"], frame[name], strict=True)):
        if pd.isna(value) or (isinstance(value, str) and not value.strip()):
            if column.required:
                faults.append(f"feature {feature} has no {column.name}; it may be {' or '.join(column.allowed)}")
            continue
        try:
            values[position] = _read(value, column)
        except LayerError as error:
            faults.append(f"feature {feature}, {name}: {error}")
    return values


def _read(value: Any, column: Attribute) -> Any:
    text = _as_text(value)
    if column.form == "yes_no":
        if text.lower() in _YES or text.lower() in _NO:
            return text.lower() in _YES
        raise LayerError(f'"{text}" is neither true nor false')
    if column.form == "number":
        try:
            number = float(text)
        except ValueError:
            raise LayerError(f'"{text}" is no number') from None
        return _checked(number, column, text)
    if column.allowed:
        if text.lower() not in column.allowed:
            raise LayerError(f'"{text}" is not known; it may be {" or ".join(column.allowed)}')
        return text.lower()
    return text


def _as_text(value: Any) -> str:
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return value.date().isoformat()
    # whole numbers that a file keeps as floating ones, as a geodatabase does
    if isinstance(value, float) and value.is_integer() and abs(value) < _WHOLE:
        return str(int(value))
    return str(value).strip()


def _lengths(frame: gpd.GeoDataFrame, own: dict[str, Any], column: Attribute, faults: list[str]) -> Any:
    units = dict(zip(_names_of(column), units_of("length"), strict=True))
    given = [name for name in (column.name, *units) if name in own]
    values = _defaults(column, len(frame))
    if not given:
        return values
    if len(given) > 1:
        faults.append(f"it has both {' and '.join(given)}; keep one")
        return values
    source = frame[own[given[0]]]
    for position, (feature, value) in enumerate(zip(frame["id"], source, strict=True)):
        if pd.isna(value) or (isinstance(value, str) and not value.strip()):
            continue
        try:
            if given[0] in units:
                number = float(value) * si_factor(units[given[0]])
            else:
                number = read_quantity(value, "length")
            values[position] = _checked(number, column, str(value))
        except (QuantityError, LayerError) as error:
            hint = "" if given[0] in units else f" or name the attribute {column.name}_m or {column.name}_ft"
            faults.append(f"feature {feature}, {given[0]}: {error}{hint}")
        except (ValueError, TypeError):
            faults.append(f'feature {feature}, {given[0]}: "{value}" is no number')
    return values


def _checked(number: float, column: Attribute, text: str) -> float:
    if not np.isfinite(number):
        raise LayerError(f'"{text}" is not finite')
    unit = " m" if column.form == "length" else ""
    if column.least is not None and number < column.least:
        raise LayerError(f'"{text}" is less than {column.least:g}{unit}')
    if column.most is not None and number > column.most:
        raise LayerError(f'"{text}" is more than {column.most:g}{unit}; check its unit')
    return number


def _defaults(column: Attribute, count: int) -> Any:
    dtype = {"text": object, "yes_no": bool, "number": float, "length": float}[column.form]
    return np.full(count, column.default, dtype=dtype)
