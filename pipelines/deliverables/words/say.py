"""A reason as a sentence: each code has one in the tables beside this file, in each unit system."""

import functools
import hashlib
import re
import tomllib
from collections.abc import Iterable
from importlib.resources import files
from typing import Any

from pipelines.deliverables.words.quantities import KINDS, format_quantity, soil_words
from terrain.reason import Reason
from terrain.unit_table import Units

_ID = re.compile(r"[a-z]+(?:-[a-z]+)*-\d")
_texts: dict[str, str] = {}  # by their hashes, since a template's name may hold no quotation mark


def say(fact: Reason | str, units: Units) -> str:
    """A reason in words, which one of the tables must have for its code; what a person wrote stays as it is."""
    if isinstance(fact, str):
        return fact
    return str(template(sentences()[fact.code], units).render(dict(fact.values)))


def sentence(fact: Reason | str, units: Units) -> str:
    """What is told, from a capital letter to a full stop."""
    return _closed(start_upper(say(fact, units).strip()))


def say_short(fact: Reason | str, units: Units) -> str:
    """What is told as a sentence, in its short form where the table of those has one; an empty one is left out."""
    if isinstance(fact, Reason) and fact.code == "sentences":
        return " ".join(filter(None, (say_short(part, units) for part in fact["parts"])))
    if isinstance(fact, str) or fact.code not in short_forms():
        return sentence(fact, units)
    short = template(short_forms()[fact.code], units)
    return _closed(start_upper(str(short.render(dict(fact.values))).strip()))


def _closed(text: str) -> str:
    return text if not text or text.endswith((".", "?", "!")) else f"{text}."


def say_all(facts: Iterable[Reason | str], units: Units) -> tuple[str, ...]:
    """Reasons in words, each sentence once, in order."""
    return tuple(dict.fromkeys(say(fact, units) for fact in facts))


def start_upper(text: str) -> str:
    """A text with a capital first letter; an id at its start, such as sump-1, stays as it is."""
    return text if _ID.match(text) else text[:1].upper() + text[1:]


def start_lower(text: str) -> str:
    """The same within a sentence."""
    return text if _ID.match(text) else text[:1].lower() + text[1:]


def with_article(text: str) -> str:
    """A text behind its article: a 12 in grate, an 18 in grate."""
    return f"{'an' if text[:1] in 'aeiou' or text.startswith(('8', '11 ', '18 ')) else 'a'} {text}"


@functools.cache
def sentences() -> dict[str, str]:
    """Sentence by code, of all tables; a code stands in one."""
    found: dict[str, str] = {}
    for path in sorted(files("pipelines.deliverables.words").iterdir(), key=lambda each: each.name):
        if path.name.endswith(".toml"):
            table = tomllib.loads(path.read_text(encoding="utf-8"))
            twice = sorted(found.keys() & table.keys())
            if twice:
                raise ValueError(f"{path.name} has sentences that another table has: {', '.join(twice)}")
            found |= table
    return found


@functools.cache
def short_forms() -> dict[str, str]:
    """Short form by code, of the sentences that are too long for a look at a terminal."""
    table = files("pipelines.deliverables.words").joinpath("short", "short_forms.toml")
    return tomllib.loads(table.read_text(encoding="utf-8"))


@functools.cache
def template(text: str, units: Units) -> Any:
    """A text with marks, ready to be filled in."""
    name = hashlib.sha256(text.encode()).hexdigest()
    _texts[name] = text
    return environment(units).get_template(name)


@functools.cache
def environment(units: Units) -> Any:
    """What turns a sentence's marks into words: `{{ fall | depth }}`, a filter for each kind of quantity."""
    from jinja2 import DictLoader, Environment, StrictUndefined, pass_context

    from pipelines.deliverables.words.kept_templates import kept_templates

    # one that takes the context is not asked while a template is compiled
    made = Environment(
        undefined=StrictUndefined, finalize=pass_context(lambda _, value: _written(value, units=units)),
        loader=DictLoader(_texts), optimized=False, bytecode_cache=kept_templates(),
    )  # fmt: skip
    for kind in KINDS:
        made.filters[kind] = functools.partial(format_quantity, kind=kind, units=units)
    made.filters["soil"] = functools.partial(soil_words, units=units)
    made.filters["listed"] = functools.partial(_listed, units=units)
    made.filters["each"] = functools.partial(_each, units=units)
    made.filters["start"] = lambda value: start_upper(_written(value, units=units))
    made.filters["within"] = lambda value: start_lower(_written(value, units=units))
    made.filters["sentence"] = lambda value: sentence(_written(value, units=units), units)
    made.filters["closed"] = lambda value: _closed(_written(value, units=units))
    made.filters["open"] = lambda value: _written(value, units=units).rstrip(".")
    made.filters["an"] = with_article
    made.globals["units"] = units
    return made


def _written(value: Any, *, units: Units) -> str:
    """A mark without a filter holds words, ids or a whole count: a measured number without its unit is a defect."""
    if isinstance(value, Reason):
        return say(value, units)
    if isinstance(value, float):
        raise TypeError(f"{value} stands in a sentence without its unit")
    return "" if value is None else str(value)


def _each(values: Iterable[Any], between: str = "; ", *, units: Units) -> str:
    return between.join(_written(value, units=units) for value in values)


def _listed(values: Iterable[Any], *, units: Units) -> str:
    words = [_written(value, units=units) for value in values]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
