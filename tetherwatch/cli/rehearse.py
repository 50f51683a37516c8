"""`tetherwatch rehearse`: simulated captures with known truth."""

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import get_args

import click

from tetherwatch.advise.library import load_plan
from tetherwatch.cli.options import complete_plan
from tetherwatch.errors import FolderError, UsageError
from tetherwatch.exposure.settings import Settings
from tetherwatch.rehearse.follow import NextCall, calls_from
from tetherwatch.rehearse.light import LightKind
from tetherwatch.rehearse.options import START, Options
from tetherwatch.rehearse.script import Odd, SceneName
from tetherwatch.rehearse.session import Truth, rehearse

FOLLOWED_PLAN = "window-card"

_ODD: dict[Odd, str] = {
    "misfire": "no flash",
    "weak": "weak flash",
    "blocked": "light blocked",
    "cap": "cap on",
    "card": "card before the lens",
}


@click.command("rehearse", short_help="Write simulated captures with known truth.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--scene", type=click.Choice(get_args(SceneName)), default="steady", show_default=True)
@click.option("--frames", type=click.IntRange(1, 100_000), default=12, show_default=True)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@click.option("--every", type=click.FloatRange(0, 3600), default=4.0, show_default=True, help="Seconds between frames.")
@click.option("--light", type=click.Choice(get_args(LightKind)), help="Kind of light.  [default: the scene's]")
@click.option("--files", type=click.Choice(["dng", "jpeg", "both"]), default="dng", show_default=True)
@click.option("--uncompressed", is_flag=True, help="Write raw data without compression.")
@click.option("--megapixels", type=float, default=6.0, show_default=True, help="Picture size, 1 to 45.")
@click.option("--follow", is_flag=True, help="Watch the folder too, and obey its calls like a photographer.")
@click.option(
    "--plan", "plan_name", shell_complete=complete_plan, help=f"With --follow: the plan.  [default: {FOLLOWED_PLAN}]"
)
def command(
    folder: Path,
    scene: SceneName,
    frames: int,
    seed: int,
    every: float,
    light: LightKind | None,
    files: str,
    uncompressed: bool,
    megapixels: float,
    follow: bool,
    plan_name: str | None,
) -> None:
    """Write simulated captures into FOLDER, with the truth about each in truth.jsonl.

    A grey card stands in the middle of the scene: plans named *-card meter it. Without --follow the simulated
    photographer starts 1 1/3 stop too dark and notices by himself after two frames.
    """
    if plan_name is not None and not follow:
        raise UsageError("--plan has no effect without --follow", "add --follow")
    plan = load_plan(plan_name or FOLLOWED_PLAN)
    options = Options(
        scene=scene,
        frames=frames,
        seed=seed,
        every_s=every,
        files=files,  # type: ignore[arg-type]
        compressed=not uncompressed,
        megapixels=megapixels,
        light=light,
        start=Settings(plan.shutter.start, plan.aperture.start, plan.iso.start) if follow else START,
        step=plan.step,
    )
    _make(folder)
    with _followed(folder, plan.source) if follow else nullcontext() as next_call:
        _play(folder, options, next_call)


def _play(folder: Path, options: Options, next_call: NextCall | None) -> None:
    """Write the frames at their pace and say each one's truth."""
    due = time.monotonic()
    for truth in rehearse(folder, options, datetime.now().astimezone(), next_call):
        click.echo(_truth_line(truth, options))
        due += options.every_s
        time.sleep(max(0.0, due - time.monotonic()))


def _truth_line(truth: Truth, options: Options) -> str:
    from tetherwatch.screen.lines import settings_words

    settings = settings_words(truth.settings, options.step)
    odd = f"  {_ODD[truth.odd]}" if truth.odd else ""
    return f"{truth.file}  {settings}  card {truth.offset_stops:+.2f} stops{odd}"


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FolderError(folder, f"this folder cannot be made ({error.strerror})") from None


@contextmanager
def _followed(folder: Path, plan: str) -> Iterator[NextCall]:
    """A watch of the folder in a process of its own; gives its calls. Its session is thrown away."""
    watch = [sys.executable, "-m", "tetherwatch", "watch", str(folder), "--headless", "--from-start", "--plan", plan]
    with TemporaryDirectory(prefix="tetherwatch-rehearse-", ignore_cleanup_errors=True) as data:
        watch += ["--session", str(Path(data) / "followed.session")]
        with subprocess.Popen(watch, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True) as process:
            try:
                assert process.stdout is not None
                yield calls_from(process.stdout)
            finally:
                process.terminate()
