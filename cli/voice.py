"""How much a run says besides its result, and where."""

import json
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Protocol

from cli import interrupt
from cli.streams import MOST_LETTERS, say, say_as_it_is
from terrain.shown_text import shown

LEAST_WIDTH, USUAL_WIDTH, MOST_WIDTH = 60, 80, 120


class Progress(Protocol):
    """What a job tells while it runs."""

    def __call__(self, text: str, done: float | None) -> None:
        """Say what is under way, and the share done from 0 to 1; None for a note that everyone should read."""


@dataclass(slots=True)
class Voice:
    """What -q, -v, --debug and --progress ask for.

    Attributes
    ----------
    quiet, verbose, debug : bool
        Say nothing but errors; say each stage also where stderr is no terminal; show tracebacks of defects and
        messages of libraries.
    objects : bool
        Say all of it on stderr as JSON, an object a line, for a program that runs lotshed.
    """

    quiet: bool = False
    verbose: bool = False
    debug: bool = False
    objects: bool = False

    def say(self, text: str) -> None:
        """A message on stderr, however quiet it should be."""
        if self.objects:
            say_as_it_is(_object(text, None))
        else:
            say(text)

    def note(self, text: str) -> None:
        """A line on stderr that everyone should read, unless they asked for quiet."""
        if not self.quiet:
            self.say(text)

    @contextmanager
    def progress(self) -> Iterator[Progress]:
        """Progress on stderr: a bar on a terminal, plain lines elsewhere, objects for a program."""
        if self.objects:
            yield _say_object
        elif self.quiet:
            yield _silence
        elif sys.stderr.isatty():
            with _bar() as bar:
                yield bar
        else:
            yield self._lines

    def _lines(self, text: str, done: float | None) -> None:
        interrupt.check()
        if done is None or self.verbose:
            say(text)


def text_width() -> int:
    """Characters in a line of an answer: the terminal's, as far as they read well."""
    return min(max(shutil.get_terminal_size((USUAL_WIDTH, 24)).columns, LEAST_WIDTH), MOST_WIDTH)


def _object(text: str, done: float | None) -> str:
    lines = [shown(line, most=MOST_LETTERS) for line in text.strip().split("\n")]
    # letters beyond ASCII as escapes, so that no locale can break the line
    return json.dumps({"done": done, "text": "\n".join(lines)})


def _say_object(text: str, done: float | None) -> None:
    interrupt.check()
    say_as_it_is(_object(text, done))


def _silence(text: str, done: float | None) -> None:
    """Progress that nobody asked for."""
    interrupt.check()


@contextmanager
def _bar() -> Iterator[Progress]:
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True, highlight=False)
    columns: tuple[Any, ...] = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    with Bar(*columns, console=console, transient=True) as bar:
        task = bar.add_task("starting", total=1.0)

        def tell(text: str, done: float | None) -> None:
            interrupt.check()
            if done is None:
                bar.console.print(text, markup=False)
            else:
                bar.update(task, description=text, completed=done)

        yield tell
