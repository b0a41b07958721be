"""The console script: takes interrupts from its first line on, then loads the commands and runs."""

import atexit
import gc
import os
import sys
import threading
from collections.abc import Iterator

from cli import interrupt
from cli.exit_codes import AT_FAULT, INTERRUPTED

OBJECTS = 500_000
"""Made between two looks for what nothing refers to any more: nearly all that one run makes it needs to its end. [-]"""


def main() -> None:
    """Quiet the libraries' own messages, then run."""
    interrupt.listen(_end)
    gc.set_threshold(OBJECTS)
    # GDAL and PROJ print notes on stderr that are no message of ours; set before either is loaded
    os.environ.setdefault("CPL_LOG", os.devnull)
    os.environ.setdefault("PROJ_DEBUG", "0")
    try:
        from cli import streams
        from cli.main import app
        from terrain.reading.skipped_drivers import skip_drivers

        skip_drivers()
        streams.make_fit()
        if not _stands_somewhere():
            streams.say("Error: the folder you stand in was deleted, or you may not enter it. Go to another.")
            sys.exit(AT_FAULT)
        app(prog_name="lotshed")
    except KeyboardInterrupt:
        interrupt.stop_listening()
        interrupt.tell()
        _end(INTERRUPTED)
    except SystemExit as end:
        interrupt.stop_listening()
        if end.code == INTERRUPTED:
            # Python would end by the signal itself where the interrupt arrived in code that exec() runs
            _end(INTERRUPTED)
        if isinstance(end.code, int) and not any(_waited_for()):
            # Python would take apart all that was loaded first, which takes most of a second
            atexit._run_exitfuncs()
            _end(end.code)
        raise


def _waited_for() -> Iterator[threading.Thread]:
    """What Python waits for at its end."""
    return (each for each in threading.enumerate() if not each.daemon and each is not threading.main_thread())


def _end(code: int) -> None:
    from cli import streams

    streams.settle()
    made = sys.modules.get("pipelines.inputs.shapes.readable_file")
    if made is not None:
        made.clear_away()
    os._exit(code)


def _stands_somewhere() -> bool:
    try:
        return os.path.isdir(os.getcwd())
    except OSError:
        return False
