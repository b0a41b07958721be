"""Where lotshed is installed, the environment that it is run in, and what it says it can do.

Nothing of the GIS is imported here, so that these can be tried without it.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile

FORM = 1
"""Of the description that is read here."""
PROGRAM = "lotshed.exe" if sys.platform == "win32" else "lotshed"
HOLDS = ("", "bin", "Scripts", os.path.join(".venv", "bin"), os.path.join(".venv", "Scripts"))
"""Where the program lies in a folder that a person may name."""
HOST_ONLY = (
    "PYTHON", "GDAL", "OGR_", "CPL_", "PROJ_", "GEOTIFF_", "QGIS", "QT_", "GRASS", "GISBASE", "LD_LIBRARY_PATH",
    "LD_PRELOAD", "DYLD_", "__PYVENV_LAUNCHER__",
)  # fmt: skip
"""How variables begin that tell of the GIS's own Python and libraries, and would mislead another."""
PATIENCE = 120.0
"""For a description; the first call on a machine reads many files from a cold disk. [s]"""


def find_program(stated, packed="", elsewhere=True):
    """The program that a person stated, as itself or its folder; else the one that wrote the plugin or one on PATH."""
    place = stated or packed
    for candidate in [place, *(os.path.join(place, holds, PROGRAM) for holds in HOLDS)] if place else []:
        # nothing of another name is run
        named = os.path.basename(candidate).lower().startswith("lotshed")
        if named and os.path.isfile(candidate) and os.access(candidate, os.X_OK):
            return os.path.abspath(candidate)
    return (shutil.which(PROGRAM) or "") if elsewhere and not stated else ""


def missing_words(stated=""):
    """What is said, once, where lotshed is not found."""
    found = f"lotshed is not at {stated}" if stated else "lotshed was not found on this computer"
    return (
        f"{found}. lotshed runs in a Python environment of its own, apart from the one of this GIS. "
        "If there is one, name its folder or the program in it under Settings > Options > Processing > Providers > "
        f"lotshed > Where lotshed is. To make one: python3 -m venv lotshed-env, install lotshed into it as its README "
        f"says, and name lotshed-env there."
    )


def own_environment():
    """The variables of this process without those that are the GIS's own."""
    kept = {name: value for name, value in os.environ.items() if not name.upper().startswith(HOST_ONLY)}
    # what it says is read as UTF-8
    return {**kept, "PYTHONUTF8": "1"}


def quiet_start():
    """How a process is started so that it can be ended with all that it started, and opens no window."""
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW}
    return {"start_new_session": True}


def describe(program, packed, cache):
    """What lotshed can do, and a message where it could not say so: asked anew when it or its packages changed.

    `packed` is the description that came with the plugin, `cache` a file of this user's.
    """
    if not program:
        return packed, ""
    kept = _read(cache)
    if kept.get("form") == FORM and kept.get("asked_of") == _stamp(program) and _unchanged(kept.get("watched", {})):
        return kept, ""
    try:
        done = subprocess.run(
            [program, "gis-plugin", "--describe"], env=own_environment(), cwd=tempfile.gettempdir(), timeout=PATIENCE,
            stdin=subprocess.DEVNULL, capture_output=True, **quiet_start(),
        )  # fmt: skip
        told = json.loads(done.stdout.decode("utf-8")) if done.returncode == 0 else {}
        said = done.stderr.decode("utf-8", "replace").strip()
    except (OSError, ValueError, subprocess.SubprocessError) as fault:
        told, said = {}, str(fault)
    if told.get("form") != FORM:
        said = said or f"this plugin reads form {FORM}, not {told.get('form')}; write the plugin anew with it"
        return packed, f"{program} did not say what it can do: {said}"
    told["asked_of"] = _stamp(program)
    try:
        os.makedirs(os.path.dirname(cache), exist_ok=True)
        with open(cache + ".tmp", "w", encoding="utf-8") as file:
            json.dump(told, file)
        os.replace(cache + ".tmp", cache)
    except OSError:
        # asked again the next time
        pass
    return told, said


def _read(path):
    try:
        with open(path, encoding="utf-8") as file:
            found = json.load(file)
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _stamp(program):
    return [program, os.stat(program).st_mtime_ns]


def _unchanged(watched):
    try:
        return bool(watched) and all(os.stat(path).st_mtime_ns == then for path, then in watched.items())
    except OSError:
        return False
