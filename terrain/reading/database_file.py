"""A database that a stranger made: what of it would run while it is read is looked at first, under a work limit."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path

from terrain.errors import LotshedError

_MAGIC = b"SQLite format 3\0"
_STEPS_AT_A_TIME, _MOST_TIMES = 10_000, 500
"""Work of one view: a layer of a million features takes a few million steps. [-]"""
_MOST_VIEWS = 50
_MOST_VALUE = 50_000_000
"""Of one value in a view. [byte]"""
_HARMLESS_MODULES = {"rtree", "rtree_i32", "geopoly", "fts3", "fts4", "fts5"}
_MODULE = re.compile(r"\busing\s+[\"'`\[]?(\w+)", re.IGNORECASE)


def is_database(path: Path) -> bool:
    """Whether a file is a SQLite database, as a GeoPackage is."""
    with path.open("rb") as file:
        return file.read(len(_MAGIC)) == _MAGIC


def refuse_odd_database(path: Path, what: str, error: type[LotshedError]) -> None:
    """Raise where reading a database would run more than a plain look at its tables.

    Its triggers never run, since it is opened to be read only. Its views are run once, by plain SQLite, which knows no
    function that reads files or addresses, and must end within a work limit.
    """
    # a database that nobody writes to is read as it lies, without files beside it
    wal = path.with_name(path.name + "-wal")
    mode = "mode=ro" if wal.exists() else "mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?{mode}", uri=True)) as database:
            database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _MOST_VALUE)
            database.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
            _refuse_modules(database, what, error)
            _refuse_reckoned_columns(database, what, error)
            _run_views(database, what, error)
    except sqlite3.Error as fault:
        raise error(f"{what}: it is torn, or no database that can be read ({fault}); fetch it again") from None


def _refuse_modules(database: sqlite3.Connection, what: str, error: type[LotshedError]) -> None:
    rows = database.execute("select name, sql from sqlite_master where sql like 'create virtual%'").fetchall()
    for name, sql in rows:
        module = _MODULE.search(sql)
        if module is None or module[1].lower() not in _HARMLESS_MODULES:
            raise error(f"{what}: its table {str(name)[:80]} is kept outside the file; write its layers to a new file")


def _refuse_reckoned_columns(database: sqlite3.Connection, what: str, error: type[LotshedError]) -> None:
    rows = database.execute(
        "select m.name, c.name from sqlite_master m join pragma_table_xinfo(m.name) c "
        "where m.type = 'table' and m.sql not like 'create virtual%' and c.hidden in (2, 3) limit 1"
    ).fetchall()
    if rows:
        table, column = (str(each)[:80] for each in rows[0])
        raise error(f"{what}: column {column} of {table} is reckoned by the file; write its layers to a new one")


def _run_views(database: sqlite3.Connection, what: str, error: type[LotshedError]) -> None:
    names = [str(name) for (name,) in database.execute("select name from sqlite_master where type = 'view'")]
    if len(names) > _MOST_VIEWS:
        raise error(f"{what} has {len(names)} views, and at most {_MOST_VIEWS} are read; write its layers to a new one")
    for name in names:
        times = iter(range(_MOST_TIMES))
        database.set_progress_handler(lambda times=times: next(times, None) is None, _STEPS_AT_A_TIME)  # type: ignore[misc]
        try:
            for _ in database.execute(f'select * from "{name.replace(chr(34), chr(34) * 2)}"'):
                pass
        except (sqlite3.Error, MemoryError, OverflowError, UnicodeError) as fault:
            raise error(
                f"{what}: its view {name[:80]} is no plain look at tables ({str(fault)[:80]}); write its layers to a "
                "new file"
            ) from None
        finally:
            database.set_progress_handler(None, 0)
