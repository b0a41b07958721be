"""What a crew read from the rod: heights from the backsights and foresights of a level book, and how they close."""

from dataclasses import dataclass

from pipelines.inputs.errors import TableError
from pipelines.inputs.tables.csv_table import CsvRow, CsvTable, one_of
from terrain.reason import Reason, reason
from terrain.unit_table import si_factor

BACKSIGHTS, FORESIGHTS = ({f"{sight}_{unit}": unit for unit in ("m", "ft")} for sight in ("backsight", "foresight"))


@dataclass(frozen=True, slots=True)
class ReadPoint:
    """A point whose height a level book gives: its first row, and its height [m] over the start or in its datum."""

    row: CsvRow
    name: str
    height: float


@dataclass(frozen=True, slots=True)
class LevelBook:
    """A level book reduced.

    Attributes
    ----------
    own_datum : bool
        No row gives a height: what is read counts from the point that was read first.
    """

    points: tuple[ReadPoint, ...]
    own_datum: bool
    warnings: tuple[Reason, ...]


def holds_readings(table: CsvTable) -> bool:
    """A table has readings of a rod, not heights."""
    return any(column in table.columns for column in (*BACKSIGHTS, *FORESIGHTS))


def reduce_readings(table: CsvTable, *, closure: float) -> LevelBook:
    """Heights of the points of a level book.

    Rows stand in the order in which they were read. A backsight is read on a point whose height is known (the first
    one's is 0 where no column `height_m` or `height_ft` gives it), and sets the height of the instrument; a foresight
    gives a point's height; a row with both is a turning point, read before and after the instrument was moved. A point
    that is read again shows how the readings close. Rows without readings are left out and named.

    Parameters
    ----------
    table : CsvTable
        Columns point, and backsight and foresight in _m or _ft.
    closure : float
        Most by which a point that is read again may differ. [m]

    Returns
    -------
    LevelBook
        Points in the order of their first row.

    Raises
    ------
    TableError
        If a reading is no number or hangs on nothing, nothing is read, or the readings don't close.

    References
    ----------
    .. [1] C. D. Ghilani and P. R. Wolf, "Elementary Surveying", chapters on leveling: height of instrument is height
       plus backsight, a height is that less the foresight (from memory).
    """
    back, fore = one_of(table, tuple(BACKSIGHTS)), one_of(table, tuple(FORESIGHTS))
    given = next((name for name in ("height_m", "height_ft") if name in table.columns), None)
    first: dict[str, ReadPoint] = {}
    instrument: float | None = None
    unread: list[str] = []
    off: list[tuple[str, float]] = []
    own_datum = True
    for row in table.rows:
        name, seen = row.texts["point"], first.get(row.texts["point"])
        sights = [_reading(table, row, column) for column in (fore, back)]
        told = None if given is None or not row.texts[given] else table.number(row, given) * si_factor(given[7:])
        if sights == [None, None]:
            unread += [name] if seen is None else []
            continue
        foresight, backsight = sights
        height = told if seen is None else seen.height
        if foresight is not None:
            if instrument is None:
                raise TableError(
                    f"{table.where}: line {row.line}: the foresight on {name} comes before any backsight; rows stand "
                    "in the order of reading, the first with a backsight on the point that the others are read against"
                )
            read = instrument - foresight
            off += [] if height is None else [(name, read - height)]
            height = read if height is None else height
        elif height is None and instrument is None and not any(each.texts[given] for each in table.rows if given):
            height = 0.0
        elif height is None:
            raise TableError(
                f"{table.where}: line {row.line}: the backsight on {name} hangs on nothing; read a foresight on it "
                "before the instrument is moved, or begin on a point whose height is given or was read"
            )
        own_datum = own_datum and told is None
        first.setdefault(name, ReadPoint(row, name, height))
        instrument = instrument if backsight is None else height + backsight
    if len(first) < 2:
        raise TableError(f"{table.where}: fewer than two points are read; write {back} and {fore} into their rows")
    unit = BACKSIGHTS[back]
    return LevelBook(tuple(first.values()), own_datum, tuple(_remarks(table, unit, unread, off, closure)))


def _reading(table: CsvTable, row: CsvRow, column: str) -> float | None:
    unit = {**BACKSIGHTS, **FORESIGHTS}[column]
    return table.number(row, column) * si_factor(unit) if row.texts[column] else None


def _remarks(
    table: CsvTable, unit: str, unread: list[str], off: list[tuple[str, float]], closure: float
) -> list[Reason]:
    found = []
    if unread:
        found.append(reason("shots_unread", points=tuple(unread)))
    if not off:
        return [*found, reason("shots_not_closed")]
    name, worst = max(off, key=lambda each: abs(each[1]))
    if abs(worst) > closure + 1e-9:
        factor, side = si_factor(unit), "higher" if worst > 0 else "lower"
        raise TableError(
            f"{table.where}: read again, {name} is {abs(worst) / factor:.3f} {unit} {side} than before, more than the "
            f"{closure / factor:.3f} {unit} that the rule level_closure allows: a reading or its row is wrong"
        )
    return [*found, reason("shots_close", point=name, off=abs(worst))]
