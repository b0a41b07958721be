"""Where compiled loops are kept: beside the code, in the user's own cache, or else in a private temporary folder."""

import atexit
import contextlib
import os
import shutil
import stat
import sys
import sysconfig
import tempfile
from pathlib import Path

from terrain.errors import GroundFileError

_given: Path | None = None


def ensure_cache() -> None:
    """Give numba a private temporary folder where it may write neither beside the code nor in the user's cache.

    Call it before anything compiled is imported: numba looks for its folder as each loop is declared.
    """
    global _given
    if _given is not None or os.environ.get("NUMBA_CACHE_DIR") or (_beside_the_code() or _users_own()):
        return
    _given = _private_folder()
    os.environ["NUMBA_CACHE_DIR"] = str(_given)
    if "numba" in sys.modules:
        sys.modules["numba"].config.CACHE_DIR = str(_given)


def private_cache() -> Path | None:
    """The private temporary folder, where that had to be taken."""
    return _given


def _beside_the_code() -> bool:
    """Whether both our code's folders and other packages' (pysheds' loops are kept too) take files."""
    kernels = Path(__file__).parent / "kernels"
    kept = kernels / "__pycache__"
    return _takes_files(kept if kept.is_dir() else kernels) and _takes_files(Path(sysconfig.get_path("purelib")))


def _users_own() -> bool:
    from numba.misc.appdirs import AppDirs

    try:
        folder = Path(AppDirs(appname="numba", appauthor=False).user_cache_dir)
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, RuntimeError, KeyError):
        return False
    return _takes_files(folder)


def _takes_files(folder: Path) -> bool:
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def _private_folder() -> Path:
    """A folder that nobody else may write in, since what lies in it is run; kept for the next run where it can be."""
    try:
        if hasattr(os, "getuid"):
            kept = Path(tempfile.gettempdir(), f"lotshed-compiled-{os.getuid()}")
            with contextlib.suppress(FileExistsError):
                kept.mkdir(mode=0o700)
            found = kept.lstat()
            if stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and not found.st_mode & 0o077:
                return kept
        made = Path(tempfile.mkdtemp(prefix="lotshed-compiled-"))
    except OSError as error:
        raise GroundFileError(
            f"no folder can be written that keeps compiled code ({error.strerror or error}); set TMPDIR or "
            "NUMBA_CACHE_DIR to a folder of your own"
        ) from None
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return made
