"""`tetherwatch completion`: the script that teaches a shell our commands."""

import click
from click.shell_completion import get_completion_class


@click.command("completion", short_help="Print the completion script for a shell.")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def command(ctx: click.Context, shell: str) -> None:
    """Print the completion script for SHELL.

    bash: eval "$(tetherwatch completion bash)" in ~/.bashrc; zsh the same in ~/.zshrc; fish: tetherwatch completion
    fish | source.
    """
    completion = get_completion_class(shell)
    if completion is not None:
        click.echo(completion(ctx.find_root().command, {}, "tetherwatch", "_TETHERWATCH_COMPLETE").source())
