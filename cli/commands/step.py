"""lotshed step NAME: one step alone, on ordinary files."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.options import allow_linked_option, overwrite_option, talk_options
from cli.streams import say
from cli.voice import Voice

if TYPE_CHECKING:
    from pipelines.steps.registry import Step, StepParameter


class StepGroup(click.Group):
    """A command a step, its options read from what the step declares."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the steps that can be loaded."""
        from pipelines.steps.registry import StepError, load_step, step_names

        names = []
        for name in step_names():
            try:
                load_step(name)
            except StepError as fault:
                # one broken package must not hide the steps of the others
                say(f"Warning: {fault}")
            else:
                names.append(name)
        return names

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command:
        """The command that runs a step; one that is not there is the input's fault."""
        from pipelines.steps.registry import load_step

        return _command_of(load_step(cmd_name))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The step that is named, once its file has a place: the step itself takes seconds to load."""
        if not {"-h", "--help"} & set(args):
            with _check_place.make_context("step", args[1:], resilient_parsing=True) as asked:
                _check_place.invoke(asked)
        return super().resolve_command(ctx, args)


@click.command("step", cls=StepGroup)
def command() -> None:
    """Run one step alone on ordinary files.

    `lotshed steps` says what each takes and gives, `lotshed step NAME --help` its options. Rasters and layers may be
    in any CRS; layers come out in the raster's, if that is projected, else in local UTM. Lengths and areas are
    written with their unit, such as "2 cm" or "10 ft2"; columns carry theirs in their name. The stages of
    `lotshed screen` take its site file, and in place of what they would find, what an earlier step wrote: a low spot,
    basin or pipe run that you strike out of that file does not count in the next step.

    \b
    Example:
      lotshed step low-spots --elevation sample_data/ground.tif --out /tmp/low.gpkg
      lotshed step siting --site sample_data/lot_11.toml --out /tmp/sited.gpkg
      lotshed step routing --site sample_data/lot_11.toml --collectors /tmp/sited.gpkg --out /tmp/lines.gpkg
    """


@click.command(add_help_option=False, context_settings={"ignore_unknown_options": True, "allow_extra_args": True})
@click.option("--out", type=click.Path(path_type=Path))
@overwrite_option
def _check_place(out: Path | None, overwrite: bool) -> None:
    from pipelines.deliverables.files.place import check_file_place

    if out is not None:
        check_file_place(out, overwrite=overwrite)


def _command_of(step: "Step") -> click.Command:
    from pipelines.steps.registry import OUTPUT_KINDS

    def run(out: Path, overwrite: bool, **given: Any) -> None:
        from pipelines.steps.run import COMPANIONS, StepFile, run_step
        from terrain.first_run import compiles_first, compiling_words
        from terrain.reading.surface import Surface

        stated = {name: value for name, value in given.items() if value is not None}
        files = {}
        for taken in step.inputs:
            said = {word: stated.pop(f"{taken.name}_{word}", None) for word in COMPANIONS[taken.kind]}
            if taken.name in stated:
                path = stated.pop(taken.name)
                files[taken.name] = StepFile(path, {word: text for word, text in said.items() if text is not None})
        voice = click.get_current_context().find_object(Voice) or Voice()
        if any(taken.name in files and taken.kind is Surface for taken in step.inputs) and compiles_first():
            voice.note(compiling_words())
        with voice.progress() as progress:
            progress(step.does.rstrip("."), 0.1)
            warned = run_step(step, files, stated, out, overwrite=overwrite)
        for line in warned:
            voice.note(f"Warning: {line}")
        voice.note(f"Written to {out}")

    decorated = talk_options(overwrite_option(allow_linked_option(run)))
    text = step.text.partition("\nRaises\n")[0].partition("\nParameters\n")[0].strip()
    made = click.command(step.name, help=f"{text}\n\nGives a {OUTPUT_KINDS[step.gives]}.")(decorated)
    made.params[:0] = [*_inputs(step), *_parameters(step), _out()]
    return made


def _inputs(step: "Step") -> list[click.Option]:
    from pipelines.steps.registry import INPUT_KINDS
    from pipelines.steps.run import COMPANIONS

    options = []
    for taken in step.inputs:
        words = f"{INPUT_KINDS[taken.kind]}. {taken.about}".strip()
        path = click.Path(path_type=Path)
        flag = _flag(taken.name)
        options.append(click.Option([flag, taken.name], type=path, required=taken.required, metavar="FILE", help=words))
        for companion, meaning in COMPANIONS[taken.kind].items():
            options.append(click.Option([f"{flag}-{companion}", f"{taken.name}_{companion}"], help=meaning))
    return options


def _parameters(step: "Step") -> list[click.Option]:
    options = []
    for each in step.told:
        units = f" A quantity {each.dimension.units}." if each.dimension else ""
        default = f"  [default: {each.default}]" if each.default else ""
        words = f"{each.about}{units}{default}".strip()
        options.append(
            click.Option([_flag(each.name), each.name], type=_type_of(each), required=each.required, help=words)
        )
    return options


class QuantityType(click.ParamType):  # type: ignore[type-arg]
    """A number with its unit, checked where it is written and read by the step."""

    def __init__(self, dimension: str) -> None:
        self.name = dimension

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The text itself, if it is a quantity of this dimension."""
        from pipelines.inputs.errors import QuantityError
        from pipelines.inputs.quantity import read_quantity

        try:
            read_quantity(value, self.name)
        except QuantityError as fault:
            self.fail(str(fault), param, ctx)
        return value


def _type_of(parameter: "StepParameter") -> Any:
    if parameter.dimension is not None:
        return QuantityType(parameter.dimension.name)
    if parameter.kind == "choice":
        return click.Choice(parameter.choices)
    return {"yes_no": bool, "integer": int, "number": float, "text": str}[parameter.kind]


def _out() -> click.Option:
    return click.Option(
        ["--out", "out"], type=click.Path(path_type=Path), required=True, metavar="FILE", help="File for the result."
    )


def _flag(name: str) -> str:
    return "--" + name.replace("_", "-")
