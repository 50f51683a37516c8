"""`tetherwatch rehearse`: simulated captures with known truth."""

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TypeVar, get_args

import click

from tetherwatch.advise.library import load_plan
from tetherwatch.cli.options import complete_plan
from tetherwatch.errors import FolderError, UsageError
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.rehearse.follow import NextCall, calls_from
from tetherwatch.rehearse.ladder import Disturbance, LadderOptions, LadderTruth, rehearse_ladder
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
_DISTURBED: dict[Disturbance, str] = {
    "flicker": "lamps flicker",
    "moved": "tripod moved",
    "skipped": "rung skipped",
    "repeated": "rung shot again",
    "light": "light changed",
    "nd": "with an ND filter",
    "aperture": "other aperture",
    "denoised": "noise reduction on",
    "clipped": "far too bright",
}

_LADDER = "ladder"
_FRAMES = 12
_RUNGS = 8
_FRAMES_A_RUNG = 2

_AnyTruth = TypeVar("_AnyTruth", Truth, LadderTruth)


@click.command("rehearse", short_help="Write simulated captures with known truth.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--scene", type=click.Choice((*get_args(SceneName), _LADDER)), default="steady", show_default=True)
@click.option("--frames", type=click.IntRange(1, 100_000), help="Frames; of a ladder: for each rung.  [default: 12; 2]")
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
@click.option("--rungs", type=click.IntRange(1, 10), help="Of a ladder: ISO settings, a stop apart.  [default: 8]")
@click.option("--disturb", type=click.Choice(get_args(Disturbance)), help="Of a ladder: what goes wrong half-way.")
def command(
    folder: Path,
    scene: str,
    frames: int | None,
    seed: int,
    every: float,
    light: LightKind | None,
    files: str,
    uncompressed: bool,
    megapixels: float,
    follow: bool,
    plan_name: str | None,
    rungs: int | None,
    disturb: Disturbance | None,
) -> None:
    """Write simulated captures into FOLDER, with the truth about each in truth.jsonl.

    A grey card stands in the middle of the scene: plans named *-card meter it. Without --follow the simulated
    photographer starts 1 1/3 stop too dark and notices by himself after two frames. The scene "ladder" is the test
    series that 'tetherwatch ladder' reads.
    """
    if plan_name is not None and not follow:
        raise UsageError("--plan has no effect without --follow", "add --follow")
    common: dict[str, Any] = {
        "seed": seed,
        "every_s": every,
        "files": files,
        "compressed": not uncompressed,
        "megapixels": megapixels,
    }
    if scene == _LADDER:
        if follow or light is not None:
            raise UsageError("a ladder has its own light and settings", "leave out --follow and --light")
        common |= {"rungs": rungs or _RUNGS, "frames": frames or _FRAMES_A_RUNG, "disturbance": disturb}
        _play_ladder(folder, LadderOptions(**common))
        return
    if rungs is not None or disturb is not None:
        raise UsageError("--rungs and --disturb belong to the scene 'ladder'", "add --scene ladder")
    plan = load_plan(plan_name or FOLLOWED_PLAN)
    start = Settings(plan.shutter.start, plan.aperture.start, plan.iso.start) if follow else START
    common |= {"scene": scene, "frames": frames or _FRAMES, "light": light, "start": start, "step": plan.step}
    options = Options(**common)
    _make(folder)
    with _followed(folder, plan.source) if follow else nullcontext() as next_call:
        _play(folder, options, next_call)


def _play(folder: Path, options: Options, next_call: NextCall | None) -> None:
    """Write the frames and say each one's truth."""
    for truth in _paced(rehearse(folder, options, _now(), next_call), options.every_s):
        odd = f"  {_ODD[truth.odd]}" if truth.odd else ""
        click.echo(_truth_line(truth, options.step) + odd)


def _play_ladder(folder: Path, options: LadderOptions) -> None:
    """Write a ladder and say each frame's truth."""
    _make(folder)
    for truth in _paced(rehearse_ladder(folder, options, _now()), options.every_s):
        wrong = f"  {_DISTURBED[truth.disturbance]}" if truth.disturbance else ""
        click.echo(_truth_line(truth, Step.THIRD) + wrong)


def _now() -> datetime:
    return datetime.now().astimezone()


def _paced(truths: Iterator[_AnyTruth], every_s: float) -> Iterator[_AnyTruth]:
    """Truths as their captures are written, one every so many seconds."""
    due = time.monotonic()
    for truth in truths:
        yield truth
        due += every_s
        time.sleep(max(0.0, due - time.monotonic()))


def _truth_line(truth: Truth | LadderTruth, step: Step) -> str:
    from tetherwatch.screen.lines import settings_words

    return f"{truth.file}  {settings_words(truth.settings, step)}  card {truth.offset_stops:+.2f} stops"


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
