"""Options that several commands share."""

from collections.abc import Callable
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from tetherwatch.advise.library import shipped_names
from tetherwatch.exposure.dial import parse_value, snap
from tetherwatch.exposure.stops import Setting

DEFAULT_PLAN = "window-portrait"

Command = TypeVar("Command", bound=Callable[..., Any])


def complete_plan(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Shell completion of a plan: the shipped names, then files."""
    names = (name for name in shipped_names() if name.startswith(incomplete))
    return [*map(CompletionItem, names), CompletionItem(incomplete, type="file")]


def complete_body(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Shell completion of a body profile: the names there are, then files."""
    from tetherwatch.body.library import profile_names

    names = (name for name in profile_names() if name.startswith(incomplete))
    return [*map(CompletionItem, names), CompletionItem(incomplete, type="file")]


def complete_session(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Shell completion of a session: the names of those that are kept, then files."""
    from tetherwatch.report.shelf import kept

    names = (each.name for each in kept() if each.name.startswith(incomplete))
    return [*map(CompletionItem, names), CompletionItem(incomplete, type="file")]


def read_iso(_: click.Context, __: click.Parameter, text: str | None) -> float | None:
    """An ISO as the trade writes it, as the dial's exact value."""
    try:
        return None if text is None else snap(Setting.ISO, parse_value(Setting.ISO, text))
    except ValueError as error:
        raise click.BadParameter(str(error)) from None


def with_plan(command: Command) -> Command:
    """Add `--plan`, `--ceiling` and `--body`."""
    ceiling = click.option(
        "--ceiling",
        metavar="ISO",
        callback=read_iso,
        help='Highest ISO you accept; plans call it "ceiling".  [default: that of the body profile, or 3200]',
    )
    body = click.option(
        "--body",
        metavar="NAME_OR_FILE",
        shell_complete=complete_body,
        help="Body profile of your camera.  [default: found by camera and serial]",
    )
    plan = click.option(
        "--plan",
        "plan_name",
        metavar="NAME_OR_FILE",
        default=DEFAULT_PLAN,
        show_default=True,
        shell_complete=complete_plan,
        help="Shipped plan or plan file.",
    )
    return plan(ceiling(body(command)))
