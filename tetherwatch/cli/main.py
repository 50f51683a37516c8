"""The command line: finds the command, turns errors into advice and exit codes.

Exit codes: 0 done; 1 some captures could not be read; 2 wrong use or configuration; 130 interrupted.
"""

import os
import sys
from contextlib import suppress
from importlib import import_module

import click

from tetherwatch import __version__
from tetherwatch.cli.advice import advice_lines
from tetherwatch.errors import TetherwatchError

_COMMANDS = {
    "watch": "tetherwatch.cli.watch",
    "read": "tetherwatch.cli.read",
    "plan": "tetherwatch.cli.plan",
    "body": "tetherwatch.cli.body",
    "ladder": "tetherwatch.cli.ladder",
    "rehearse": "tetherwatch.cli.rehearse",
    "report": "tetherwatch.cli.report",
    "sessions": "tetherwatch.cli.sessions",
    "pin": "tetherwatch.cli.pin",
    "doctor": "tetherwatch.cli.doctor",
    "completion": "tetherwatch.cli.completion",
}
"""Each command lives in the module of its name and is loaded only when it is used."""

WRONG_USE = 2
INTERRUPTED = 130


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        command: click.Command = import_module(_COMMANDS[cmd_name]).command
        return command


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="tetherwatch")
def cli() -> None:
    """Meter each tethered capture and say which one setting to move."""


def main() -> None:
    """Run the command line and exit."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, ValueError):  # a replaced stream, in a test or a frozen program
            stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    sys.exit(_run())


def _run() -> int:
    try:
        code = cli.main(prog_name="tetherwatch", standalone_mode=False)
    except TetherwatchError as error:
        return _fail(advice_lines(error))
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output is gone; nothing more can be written, not even at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code if isinstance(code, int) else 0


def _fail(lines: list[str]) -> int:
    for line in lines:
        click.echo(line, err=True)
    return WRONG_USE
