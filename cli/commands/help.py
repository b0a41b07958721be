"""lotshed help: what a topic or a command is about."""

import click

from cli.options import talk_options
from cli.streams import page, tell


@click.command("help")
@click.argument("topic", required=False, metavar="[TOPIC]")
@talk_options
@click.pass_context
def command(ctx: click.Context, topic: str | None) -> None:
    """Tell about a topic: site, units, verdicts or layers; or about a command.

    Made from the tables that lotshed itself reads, so it says what this version takes and gives. Ranges carry their
    unit, and columns the unit that their name ends with. On a terminal a long text is shown in your pager.

    \b
    Example:
      lotshed help units
    """
    from pipelines.library.topics import TOPICS, topic_text

    group = ctx.find_root().command
    if topic is None:
        width = max(len(name) for name in TOPICS)
        tell("\n".join(f"{name.ljust(width)}  {about}" for name, (about, _) in TOPICS.items()))
        tell("Of a command: lotshed help screen, and so on.")
        return
    if topic in TOPICS:
        page(topic_text(topic))
        return
    found = group.get_command(ctx, topic) if isinstance(group, click.Group) else None
    if found is None:
        raise click.UsageError(f"No topic or command is called {topic!r}; topics are {', '.join(TOPICS)}.")
    with click.Context(found, info_name=topic, parent=ctx.find_root()) as of_command:
        page(found.get_help(of_command))
