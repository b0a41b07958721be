"""The command `lotshed`: finds the command that was asked for and turns what happened into an exit code.

Nothing heavy is imported here or at the top of a command's file, so that --help answers at once.
"""

import errno
import importlib
import io
import os
import sys
import traceback
from collections.abc import Callable
from typing import Any

import click

from cli import interrupt
from cli.exit_codes import AT_FAULT, DEFECT, DONE, INTERRUPTED
from cli.streams import OutputError, tell
from cli.voice import Voice
from terrain.errors import LotshedError

# one line a command: its name, and the module whose `command` it is
COMMANDS = {
    "start": "cli.commands.start",
    "trace": "cli.commands.trace",
    "screen": "cli.commands.screen",
    "swale": "cli.commands.swale",
    "town": "cli.commands.town",
    "pump": "cli.commands.pump",
    "storm": "cli.commands.storm",
    "steps": "cli.commands.steps",
    "step": "cli.commands.step",
    "gis-plugin": "cli.commands.gis_plugin",
    "help": "cli.commands.help",
    "completion": "cli.commands.completion",
}

# what an operating system refuses for reasons of its own: no defect of ours
MACHINE_ERRORS = {
    getattr(errno, name)
    for name in ("EACCES", "EPERM", "EROFS", "ENOSPC", "EDQUOT", "EFBIG", "EIO", "EMFILE", "ENFILE", "ENOMEM", "ELOOP",
                 "ENAMETOOLONG", "ESTALE", "EBUSY", "ENOTEMPTY")
    if hasattr(errno, name)
}  # fmt: skip


class LazyGroup(click.Group):
    """A group that imports a command when it is asked for, and answers with the exit codes of this program."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order in which a reader needs them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, or None."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(COMMANDS[cmd_name]).command
        return command

    def main(self, args: Any = None, prog_name: str | None = None, *_: Any, **extra: Any) -> Any:
        """Run, print one message where something is wrong, and exit."""
        voice = Voice()
        run = super().main
        extra = {**extra, "standalone_mode": False, "obj": voice}
        sys.exit(exit_code(lambda: run(args, prog_name, **extra), voice))


def exit_code(run: Callable[[], Any], voice: Voice) -> int:
    """What a run ends with: 0 done, 1 a defect of ours, 2 the input is at fault, 3 a verdict fails, 130 interrupted."""
    try:
        code = run()
    except (click.Abort, KeyboardInterrupt):
        return _interrupted(voice)
    except LotshedError as fault:
        voice.say(f"Error: {fault}")
        return AT_FAULT
    except click.ClickException as fault:
        told = io.StringIO()
        fault.show(file=told)
        voice.say(told.getvalue().rstrip())
        return AT_FAULT
    except Exception as defect:
        if interrupt.was_asked():
            return _interrupted(voice)
        if voice.debug:
            traceback.print_exc()
        words = machine_words(defect)
        if words:
            voice.say(f"Error: {words}")
            return AT_FAULT
        voice.say(
            f"A defect of lotshed, not of your input: {type(defect).__name__}: {defect}\n"
            "Please report it where you got lotshed, with the command and what it prints with --debug."
        )
        return DEFECT
    return code if isinstance(code, int) else DONE


def machine_words(error: Exception) -> str:
    """What the machine refused, in words; empty where it is no refusal of the machine's."""
    if isinstance(error, OutputError):
        return f"the answer cannot be printed: {error.strerror}. What was written to files is there, whole."
    if isinstance(error, MemoryError):
        return "this machine has no more memory. Give a smaller parcel or a coarser raster, or close other programs."
    if isinstance(error, OSError) and error.errno is not None and error.errno in MACHINE_ERRORS:
        where = f"{error.filename}: " if error.filename else ""
        return f"{where}{os.strerror(error.errno)}. Mend that on this machine, or name another place, and run again."
    return ""


def _interrupted(voice: Voice) -> int:
    voice.say(interrupt.words())
    return INTERRUPTED


def _show_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        from importlib.metadata import version

        tell(f"lotshed {version('lotshed')}")
        ctx.exit()


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_show_version, help="Print the version."
)
def app() -> None:
    """Pre-screen the drainage of a residential lot from public lidar and a parcel line.

    Where water comes from, where it stands, where it may leave, by gravity or pumped, and what that takes.
    A pre-screen, not a survey and not an engineer's design: local code and licensed practice come first.

    \b
    Example:
      lotshed start ground.tif parcel.gpkg
      lotshed screen site.toml --out result
    """


def main() -> None:
    """The console script, by the name that it was first installed under."""
    from cli.program import main as run

    run()
