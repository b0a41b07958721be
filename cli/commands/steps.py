"""lotshed steps: what single steps there are."""

from typing import TYPE_CHECKING, Any

import click

from cli.options import json_option, talk_options
from cli.streams import say, tell, tell_json

if TYPE_CHECKING:
    from pipelines.steps.registry import Step


@click.command("steps")
@json_option
@talk_options
def command(as_json: bool) -> None:
    """List the single steps, what they take and what they give.

    Steps of other installed packages are listed with ours; each runs alone with `lotshed step NAME`. Lengths are in
    metres, unless a column or option carries another unit in its name.

    \b
    Example:
      lotshed steps
    """
    from pipelines.steps.registry import StepError, load_step, step_names

    steps = []
    for name in step_names():
        try:
            steps.append(load_step(name))
        except StepError as fault:
            # one broken package must not hide the steps of the others
            say(f"Warning: {fault}")
    if as_json:
        import json

        tell_json(json.dumps([_document(step) for step in steps], indent=2, ensure_ascii=False))
    else:
        tell("\n\n".join(_text(step) for step in steps))


def _document(step: "Step") -> dict[str, Any]:
    from pipelines.steps.registry import INPUT_KINDS, OUTPUT_KINDS

    return {
        "name": step.name,
        "does": step.does,
        "offered_by": step.offered_by,
        "takes": [
            {
                "name": taken.name, "kind": INPUT_KINDS[taken.kind], "required": taken.required, "about": taken.about,
            }
            for taken in step.inputs
        ],
        "parameters": [
            {
                "name": told.name, "kind": told.dimension.name if told.dimension else told.kind,
                "choices": list(told.choices), "required": told.required, "default": told.default, "about": told.about,
            }
            for told in step.told
        ],
        "gives": OUTPUT_KINDS[step.gives],
    }


def _text(step: "Step") -> str:
    document = _document(step)
    takes = [f"{taken['name']} ({taken['kind']}{'' if taken['required'] else ', optional'})"
             for taken in document["takes"]]  # fmt: skip
    lines = [f"{step.name}: {step.does}", f"  takes {', '.join(takes)}"]
    if document["parameters"]:
        lines.append(f"  with {', '.join(told['name'] for told in document['parameters'])}")
    lines.append(f"  gives {document['gives']}")
    if step.offered_by != "lotshed":
        lines.append(f"  from {step.offered_by}")
    return "\n".join(lines)
