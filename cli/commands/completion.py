"""lotshed completion: the script by which a shell completes commands and options."""

import click

from cli.options import talk_options
from cli.streams import tell_json


@click.command("completion")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@talk_options
@click.pass_context
def command(ctx: click.Context, shell: str) -> None:
    """Print the script by which a shell completes lotshed's commands and options.

    It takes and gives no number, and writes no file. In .bashrc or .zshrc load it by eval "$(lotshed completion bash)"
    or zsh; for fish write it to ~/.config/fish/completions/lotshed.fish.

    \b
    Example:
      lotshed completion bash
    """
    from click.shell_completion import get_completion_class

    made = get_completion_class(shell)
    assert made is not None
    tell_json(made(ctx.find_root().command, {}, "lotshed", "_LOTSHED_COMPLETE").source())
