"""A folder of results, handed over whole: built as a hidden sibling, then swapped in.

Nothing heavy is imported here, so that a place which takes no result is refused at once.
"""

import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path

from pipelines.deliverables.errors import HandoverError
from terrain.beside import beside
from terrain.unit_table import DAY

Writer = Callable[[Path], None]

ABANDONED_AFTER = DAY
TAKEN = -1
OUTPUTS = "outputs"
"""Key of run_info under which a result lists its files."""
OPEN_ELSEWHERE = ("-wal", "-shm", "-journal")


def prepare_place(folder: Path, *, overwrite: bool) -> Path:
    """Mend what an earlier run left half swapped, and refuse a folder that cannot take a result.

    Run it before the work, so that nobody waits for a result that has no place.
    """
    folder = _resolved(folder)
    try:
        with _alone_beside(folder):
            check_place(folder, overwrite=overwrite)
            _mend(folder)
            # what was mended may be an earlier result that was not in its place before
            check_place(folder, overwrite=overwrite)
    except HandoverError:
        raise
    except OSError as error:
        raise _cannot_write(folder, error) from error
    return folder


def check_place(folder: Path, *, overwrite: bool) -> None:
    """The checks of `prepare_place` alone: nothing is touched."""
    folder = _resolved(folder)
    if folder in (Path.cwd(), *Path.cwd().parents) or os.path.ismount(folder):
        raise HandoverError(
            f"{folder} cannot be swapped for a new folder: it is a mount point, or you stand in it. "
            "Give a folder inside it with --out."
        )
    if folder.is_dir():
        _check_content(folder, overwrite=overwrite)
    elif folder.exists():
        raise HandoverError(f"{folder} is a file. Give a folder for the result with --out.")
    above = next(parent for parent in folder.parents if parent.exists() or parent == parent.parent)
    if not above.is_dir():
        raise HandoverError(f"{folder} cannot be written: {above} is a file, not a folder. Give another --out.")
    if not os.access(above, os.W_OK | os.X_OK):
        raise HandoverError(f"{folder} cannot be written: you may not write in {above}. Give another --out.")


def check_file_place(path: Path, *, ending: str | None = None, overwrite: bool) -> None:
    """Refuse a place that cannot take a file, before the work is done; of any ending where none is asked for."""
    if ending is not None and path.suffix.lower() != ending:
        raise HandoverError(f"{path} would hold the wrong kind of file. Give a name that ends with {ending}.")
    if path.is_dir():
        raise HandoverError(f"{path} is a folder. Give a file with --out.")
    if not path.resolve().parent.is_dir():
        raise HandoverError(f"{path} cannot be written: {path.parent} is not a folder. Make it, or give another --out.")
    if not os.access(path.resolve().parent, os.W_OK | os.X_OK):
        raise HandoverError(f"{path} cannot be written: you may not write in {path.parent}. Give another --out.")
    if path.exists() and not overwrite:
        raise HandoverError(f"{path} exists. Give another name with --out, or --overwrite to replace it.")
    refuse_if_open(path)


def refuse_if_open(path: Path) -> None:
    """Refuse a file that another program has open, since replacing it would corrupt what that program writes."""
    for ending in OPEN_ELSEWHERE:
        companion = path.with_name(path.name + ending)
        if companion.exists():
            raise HandoverError(
                f"{path} is open in another program ({companion.name} lies beside it). Close it there and run again."
            )


def hand_over(folder: Path, files: Mapping[str, Writer], *, overwrite: bool, apart: Collection[str] = ()) -> None:
    """Write files into a new folder and swap it in whole; those that are named apart beside the others."""
    folder = prepare_place(folder, overwrite=overwrite)
    building = held = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _alone_beside(folder):
            building = Path(tempfile.mkdtemp(prefix=f"{_building_prefix(folder)}{os.getpid()}-", dir=folder.parent))
            building.chmod(0o777 & ~_umask())
            held = _hold(building)
        split = [{name: files[name] for name in files if (name in apart) is other} for other in (True, False)]
        with beside(partial(_write, building, split[0])) as written:
            _write(building, split[1])
            written()
        # someone may have opened or filled the folder in the meantime
        with _alone_beside(folder):
            check_place(folder, overwrite=overwrite)
            _swap(building, folder)
    except HandoverError:
        raise
    except OSError as error:
        raise _cannot_write(folder, error) from error
    finally:
        if building is not None:
            shutil.rmtree(building, ignore_errors=True)
        _let_go(held)


def _write(building: Path, files: Mapping[str, Writer]) -> None:
    for name, write in files.items():
        target = building / name
        target.parent.mkdir(parents=True, exist_ok=True)
        write(target)


def listed_files(folder: Path) -> set[str]:
    """Files that the results in a folder say they consist of, by their paths relative to it."""
    listed: set[str] = set()
    for file in sorted(folder.glob("*.gpkg")):
        try:
            with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro&immutable=1", uri=True)) as connection:
                rows = dict(connection.execute("SELECT key, value FROM run_info").fetchall())
        except sqlite3.Error:
            continue
        if rows.get("program") == "lotshed":
            listed |= {name for name in (rows.get(OUTPUTS) or "").split(", ") if name}
    # what a GIS that showed a raster counted of it, and counts again
    return listed | {f"{name}.aux.xml" for name in listed if name.endswith(".tif")}


def _check_content(folder: Path, *, overwrite: bool) -> None:
    found = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if not _is_plain_folder(path)}
    if not found:
        return
    for name, path in found.items():
        if name.endswith(".gpkg"):
            refuse_if_open(path)
    strangers = sorted(set(found) - listed_files(folder))
    if strangers:
        more = f" and {len(strangers) - 1} more" if len(strangers) > 1 else ""
        raise HandoverError(
            f"{folder} holds {strangers[0]}{more}, which is no result of lotshed and would be lost. "
            "Give an empty or new folder with --out."
        )
    if not overwrite:
        raise HandoverError(
            f"{folder} holds an earlier result ({', '.join(sorted(found))}). "
            "Give another folder with --out, or --overwrite to replace it."
        )


def _is_plain_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _building_prefix(folder: Path) -> str:
    return f".{folder.name}.building-"


def _set_aside(folder: Path) -> Path:
    return folder.with_name(f".{folder.name}.replaced")


def _swap(building: Path, folder: Path) -> None:
    aside = _set_aside(folder)
    if folder.exists():
        os.rename(folder, aside)
    try:
        os.rename(building, folder)
    except OSError:
        if aside.exists() and not folder.exists():
            os.rename(aside, folder)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _mend(folder: Path) -> None:
    """Bring back a result that was set aside by a swap cut short, and clear away what was being built."""
    aside = _set_aside(folder)
    if aside.is_dir():
        if folder.is_dir() and not any(folder.iterdir()) and any(aside.iterdir()):
            folder.rmdir()
        if folder.exists():
            shutil.rmtree(aside)
        else:
            os.rename(aside, folder)
    if folder.parent.is_dir():
        for left in folder.parent.iterdir():
            if not left.name.startswith(_building_prefix(folder)):
                continue
            process = left.name.removeprefix(_building_prefix(folder)).partition("-")[0]
            if process.isdigit() and _is_abandoned(left, int(process)):
                shutil.rmtree(left)


def _is_abandoned(building: Path, process: int) -> bool:
    """Whether nobody holds it; where folders cannot be held, whether the process of its name is gone."""
    held = _hold(building)
    if held == TAKEN:
        return False
    if held is not None:
        _let_go(held)
        return True
    if os.name == "nt":  # there, asking whether a process lives would end it
        return time.time() - building.stat().st_mtime > ABANDONED_AFTER
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        pass
    return False


def _resolved(folder: Path) -> Path:
    try:
        return folder.resolve()
    except (OSError, RuntimeError) as error:
        # a loop of links is told as a RuntimeError before Python 3.13
        words = error.strerror if isinstance(error, OSError) else "its links lead in a circle"
        raise HandoverError(f"{folder} cannot be written: {words}. Give another --out.") from error


def _hold(folder: Path, *, wait: bool = False) -> int | None:
    """A hold on a folder until `_let_go` or the end of this process, even a sudden one.

    None where folders cannot be held, `TAKEN` where somebody else holds it.
    """
    try:
        import fcntl
    except ImportError:
        return None
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        os.close(handle)
        return TAKEN
    except OSError:
        os.close(handle)
        return None
    return handle


def _let_go(held: int | None) -> None:
    if held not in (None, TAKEN):
        os.close(held)


@contextmanager
def _alone_beside(folder: Path) -> Iterator[None]:
    """No other run mends or swaps beside this folder meanwhile."""
    held = _hold(folder.parent, wait=True)
    try:
        yield
    finally:
        _let_go(held)


def _umask() -> int:
    now = os.umask(0o022)
    os.umask(now)
    return now


def _cannot_write(folder: Path, error: OSError) -> HandoverError:
    reason = error.strerror or str(error)
    return HandoverError(f"{folder} cannot be written: {reason}. Give another folder with --out.")
