"""The project's own virtual environment: made once, brought up to date when pyproject.toml changes.

Only the standard library is used here; everything else is what gets installed.
"""

import argparse
import hashlib
import importlib.util
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

PROJECT = Path(__file__).resolve().parent.parent
LOG_NAME = "tetherwatch-install.log"
OTHER_FOLDER = "choose another with --environment DIR"
NO_NETWORK_SIGNS = (
    "connection broken",
    "Failed to establish a new connection",
    "ConnectTimeoutError",
    "ConnectionError",
    "Could not fetch URL",
    "name resolution",
    "getaddrinfo failed",
    "Network is unreachable",
)
"""What pip writes when it cannot reach a package index."""


class ScriptError(Exception):
    """A script cannot do its work; the text is one line for the user."""


def say(*words: object) -> None:
    """Tell the user what happens, beside the output proper."""
    print(*words, file=sys.stderr, flush=True)


def run(main: Callable[[], int]) -> NoReturn:
    """Run a script's `main` and exit with its code; a foreseeable end is one line, never a traceback."""
    try:
        code = main()
    except ScriptError as error:
        say(error)
        code = 1
    except KeyboardInterrupt:
        say("\nStopped.")
        code = 130
    sys.exit(code)


def module(python: Path, *words: str) -> list[str]:
    """The command line that runs an installed module."""
    return [str(python), "-m", *words]


def parser(description: str | None) -> argparse.ArgumentParser:
    """A command line with the option every script has."""
    made = argparse.ArgumentParser(description=description)
    made.add_argument(
        "--environment",
        metavar="DIR",
        type=Path,
        default=PROJECT / ".venv",
        help="where the virtual environment is or shall be made (default: .venv in the project)",
    )
    return made


def run_with(needed: Sequence[str], folder: Path, work: Callable[[], int]) -> int:
    """Do a script's work with this Python if it has the modules that takes, else with the one in `folder`.

    Raises ScriptError where that one lacks them too.
    """
    if all(map(importlib.util.find_spec, needed)):
        return work()
    if Path(sys.prefix) == folder.absolute():
        raise ScriptError(f"This environment is incomplete: delete {sys.prefix} and run this again.")
    return subprocess.call([str(prepare(folder, "test")), *sys.argv])


def prepare(folder: Path, extra: str) -> Path:
    """Make sure `folder` is an environment with the project and one of its extras; return its Python.

    Raises ScriptError with a line of advice where that is impossible.
    """
    folder = folder.absolute()
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp, wanted = folder / f"tetherwatch-{extra}.stamp", _fingerprint(extra)
    if python.exists() and stamp.is_file() and stamp.read_text(encoding="utf-8") == wanted:
        return python
    if not _is_usable(python):
        _create(folder)
    say(f"Installing tetherwatch with its {extra} extra into {folder} (a minute or two the first time) ...")
    _install(python, extra, folder / LOG_NAME)
    stamp.write_text(wanted, encoding="utf-8")
    return python


def _fingerprint(extra: str) -> str:
    """A text that changes whenever the project has to be installed again."""
    digest = hashlib.sha256((PROJECT / "pyproject.toml").read_bytes())
    digest.update("\n".join((extra, sys.version, str(PROJECT))).encode("utf-8", "surrogateescape"))
    return digest.hexdigest()


def _is_usable(python: Path) -> bool:
    """Whether an environment's Python runs, has pip and is of the version that runs this script."""
    try:
        answer = subprocess.run(module(python, "pip", "--version"), capture_output=True, text=True, check=False)
    except OSError:
        return False
    return answer.stdout.strip().endswith(f"(python {sys.version_info[0]}.{sys.version_info[1]})")


def _create(folder: Path) -> None:
    """Make the environment anew, but never over a folder that something else filled."""
    log = folder / LOG_NAME
    if importlib.util.find_spec("venv") is None or importlib.util.find_spec("ensurepip") is None:
        raise ScriptError(
            "This Python cannot make virtual environments: on Debian and Ubuntu run 'sudo apt install python3-venv',"
            " elsewhere install Python from python.org."
        )
    try:
        foreign = folder.exists() and any(folder.iterdir()) and not log.exists()
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ScriptError(f"{folder} cannot hold an environment ({error.strerror}): {OTHER_FOLDER}.") from None
    if foreign:
        raise ScriptError(f"{folder} was made by something else and does not fit: {OTHER_FOLDER}.")
    say("Making a virtual environment in", folder, "...")
    _call([sys.executable, "-m", "venv", "--clear", str(folder)], log)


def _install(python: Path, extra: str, log: Path) -> None:
    options = ["--disable-pip-version-check", "--no-input", "--retries", "2"]
    _call(module(python, "pip", "install", *options, "--editable", f".[{extra}]"), log)


def _call(command: list[str], log: Path) -> None:
    """Run a step of the installation; its output goes to the log."""
    done = subprocess.run(
        command,
        cwd=PROJECT,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
    )
    log.write_bytes(done.stdout)
    if done.returncode:
        raise ScriptError(_explain(done.stdout.decode("utf-8", "replace"), log))


def _explain(output: str, log: Path) -> str:
    if any(sign in output for sign in NO_NETWORK_SIGNS):
        return f"No package index can be reached: check the network or proxy and run this again (pip's output: {log})."
    errors = [line.strip() for line in output.splitlines() if line.lstrip().lower().startswith("error")]
    reason = errors[-1] if errors else "no reason given"
    return f"Installing failed: {reason} (the whole output: {log})."
