"""The reference of the library and the steps, made from their own signatures and docstrings.

    python -m pipelines.library.reference > REFERENCE.md
"""

import inspect
from collections.abc import Callable, Iterator
from typing import Any

import pipelines
from pipelines.steps import ground, lot
from pipelines.steps.registry import INPUT_KINDS, OUTPUT_KINDS, Step, read_step

HEAD = """# Reference

Made from signatures and docstrings by `python -m pipelines.library.reference > REFERENCE.md`; a test keeps it current.
Layers and their columns: `pipelines/deliverables/files/layers.csv`.

## Library

"""
STEPS = """## Steps

`lotshed step NAME`, or in Python `load_step(name).function(...)`. A step of another package is a function like these,
offered in the entry-point group `lotshed.steps`.

"""


def reference_text() -> str:
    """The whole page, in Markdown."""
    calls = "\n\n".join(text for name in sorted(pipelines.__all__) for text in _told(name, getattr(pipelines, name)))
    steps = "\n\n".join(_step_text(step) for step in own_steps())
    return f"{HEAD}{calls}\n\n{STEPS}{steps}\n"


def own_steps() -> tuple[Step, ...]:
    """Our own steps by name."""
    found = [
        read_step(name.replace("_", "-"), function, offered_by="lotshed")
        for room in (ground, lot)
        for name, function in inspect.getmembers(room, inspect.isfunction)
        if function.__module__ == room.__name__ and not name.startswith("_")
    ]
    return tuple(sorted(found, key=lambda step: step.name))


def _told(name: str, what: Any) -> Iterator[str]:
    yield _entry(name, what)
    if inspect.isclass(what) and what.__module__.startswith("pipelines"):
        for member, value in vars(what).items():
            held = getattr(value, "__func__", getattr(value, "func", getattr(value, "fget", value)))
            if not member.startswith("_") and inspect.isfunction(held):
                yield _entry(f"{name}.{member}", held, call=value is held or isinstance(value, classmethod))


def _entry(name: str, what: Callable[..., Any], *, call: bool = True) -> str:
    text = inspect.getdoc(what) or ""
    takes = _signature(what) if call else ""
    return f"### {name}{takes}\n\n```text\n{text}\n```"


def _signature(what: Callable[..., Any]) -> str:
    if inspect.isclass(what) and "__init__" not in vars(what):
        return ""
    names = [each.replace(annotation=inspect.Parameter.empty) for each in inspect.signature(what).parameters.values()
             if each.name not in ("self", "cls")]  # fmt: skip
    return str(inspect.Signature(names))


def _step_text(step: Step) -> str:
    summary = step.text.partition("\nRaises\n")[0].strip()
    lines = [f"### {step.name}", "", summary, ""]
    for taken in step.inputs:
        needed = "" if taken.required else ", optional"
        lines.append(f"- `{taken.name}` ({INPUT_KINDS[taken.kind]}{needed}): {taken.about}")
    for told in step.told:
        kind = told.dimension.name if told.dimension else " or ".join(told.choices) or told.kind
        lines.append(f"- parameter `{told.name}` ({kind}): {told.about}")
    return "\n".join([*lines, f"- gives a {OUTPUT_KINDS[step.gives]}"])


if __name__ == "__main__":
    print(reference_text(), end="")
