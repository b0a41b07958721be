"""The command `lotshed`: finds the command that was asked for and turns what happened into an exit code.

Nothing heavy is imported here or at the top of a command's file, so that --help answers at once.
"""

import importlib
import os
import sys
import traceback
from collections.abc import Callable
from typing import Any

import click

from cli import interrupt
from cli.exit_codes import AT_FAULT, DEFECT, DONE, INTERRUPTED
from cli.voice import Voice
from terrain.errors import LotshedError
from terrain.reading.skipped_drivers import skip_drivers

# one line a command: its name, and the module whose `command` it is
COMMANDS = {
    "start": "cli.commands.start",
    "screen": "cli.commands.screen",
    "swale": "cli.commands.swale",
    "pump": "cli.commands.pump",
    "storm": "cli.commands.storm",
    "steps": "cli.commands.steps",
    "step": "cli.commands.step",
}


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
        return _interrupted()
    except LotshedError as fault:
        click.echo(f"Error: {fault}", err=True)
        return AT_FAULT
    except click.ClickException as fault:
        fault.show()
        return AT_FAULT
    except Exception as defect:
        if interrupt.was_asked():
            return _interrupted()
        if voice.debug:
            traceback.print_exc()
        click.echo(
            f"A defect of lotshed, not of your input: {type(defect).__name__}: {defect}\n"
            "Please report it where you got lotshed, with the command and what it prints with --debug.",
            err=True,
        )
        return DEFECT
    return code if isinstance(code, int) else DONE


def _interrupted() -> int:
    click.echo("Interrupted; what was there before is untouched.", err=True)
    return INTERRUPTED


def _show_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        from importlib.metadata import version

        click.echo(f"lotshed {version('lotshed')}")
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
    """The console script: quiet the libraries' own messages, then run."""
    # GDAL and PROJ print notes on stderr that are no message of ours; set before either is loaded
    os.environ.setdefault("CPL_LOG", os.devnull)
    os.environ.setdefault("PROJ_DEBUG", "0")
    skip_drivers()
    # ended from outside, a run clears away what it was building, as it does when interrupted
    interrupt.listen()
    try:
        app(prog_name="lotshed")
    except SystemExit as end:
        if end.code == INTERRUPTED:
            # Python would end by the signal itself where the interrupt arrived in code that exec() runs
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(INTERRUPTED)
        raise


if __name__ == "__main__":
    main()
