"""What is printed: on any terminal, in any locale, also where a stream is closed or full."""

import codecs
import contextlib
import os
import shutil
import sys

from terrain.shown_text import shown

MOST_LETTERS = 2000
"""Of a line."""
MOST_LINES = 60
"""Of a message; the rest is counted."""


class OutputError(OSError):
    """The answer could not be printed."""


def make_fit() -> None:
    """What a stream's encoding lacks is written as escapes that JSON reads too, instead of ending the run."""
    codecs.register_error("lotshed_escape", _escaped)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="lotshed_escape")


def say(text: str) -> None:
    """A message on stderr, made fit to show line by line; nowhere, where nobody can read it."""
    lines = text.split("\n")
    if len(lines) > MOST_LINES:
        lines[MOST_LINES:] = [f"  and {len(lines) - MOST_LINES:,} more lines"]
    say_as_it_is("\n".join(shown(line, most=MOST_LETTERS) for line in lines))


def say_as_it_is(text: str) -> None:
    """A line on stderr that is fit to show already; nowhere, where nobody can read it."""
    with contextlib.suppress(OSError, ValueError):
        if sys.stderr is not None:
            print(text, file=sys.stderr, flush=True)


def tell(text: str) -> None:
    """A part of the answer on stdout, made fit to show line by line."""
    tell_json("\n".join(shown(line, most=MOST_LETTERS) for line in text.split("\n")))


def tell_json(text: str) -> None:
    """A document on stdout as it is."""
    try:
        if sys.stdout is not None:
            print(text.removesuffix("\n"), flush=True)
    except BrokenPipeError:
        # whoever read has seen enough
        settle()
    except OSError as error:
        settle()
        raise OutputError(error.errno, error.strerror or "it cannot be written to") from error
    except ValueError as error:
        raise OutputError(0, "it is closed") from error


def page(text: str) -> None:
    """A long text: through the person's pager where they read on a terminal that it doesn't fit, plainly elsewhere."""
    fit = "\n".join(shown(line, most=MOST_LETTERS) for line in text.split("\n"))
    lines = fit.count("\n") + 1
    if sys.stdout is None or not sys.stdout.isatty() or lines < shutil.get_terminal_size().lines:
        tell_json(fit)
        return
    import click

    click.echo_via_pager(fit + "\n")


def settle() -> None:
    """Write out what waits; a stream that takes nothing more is turned to where it is lost in silence."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):
            with contextlib.suppress(OSError, ValueError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _escaped(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    units = error.object[error.start : error.end].encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2)), error.end
