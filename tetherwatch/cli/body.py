"""`tetherwatch body`: list and show body profiles, and measure where a body's grey lies."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import click

from tetherwatch.body.bodyfile import body_text
from tetherwatch.body.library import body_named, profile_names, read_library, save_body
from tetherwatch.body.matching import Bodies
from tetherwatch.body.records import Body, Grey
from tetherwatch.cli.advice import mistake_lines
from tetherwatch.cli.options import complete_body
from tetherwatch.cli.outcomes import outcomes
from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Step, label
from tetherwatch.exposure.light import RAW_GREY
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import CENTRE_BOX, Aim, Box
from tetherwatch.text import display_name
from tetherwatch.watch.schedule import problem_of
from tetherwatch.watch.task import Read

_FARTHEST_STOPS = 2.0
"""No body's grey lies farther from where ISO 12232 has it: beyond, the frame was not exposed by the meter (common
practice; bodies that protect highlights keep about a stop)."""

_MOST_CLIPPED_PERCENT = 0.1


@click.group("body", short_help="List and show body profiles; measure a body's grey.")
def command() -> None:
    """List and show body profiles: what was measured of your cameras. `tetherwatch ladder --save` makes one."""


@command.command("list")
@click.pass_context
def list_bodies(ctx: click.Context) -> None:
    """Name the body profiles with their cameras."""
    library = read_library()
    named = {display_name(body.name): body for body in library.bodies}
    width = max(map(len, named), default=0)
    for name, body in named.items():
        click.echo(f"{name:<{width}}  {camera_words(body)}, {ceiling_words(body)}")
    for error in library.broken:
        for line in mistake_lines(error):
            click.echo(line, err=True)
    if not library.bodies and not library.broken:
        click.echo("There is no body profile yet: tetherwatch ladder FOLDER --save NAME makes one.")
    ctx.exit(2 if library.broken else 0)


@command.command("show")
@click.argument("name", shell_complete=complete_body)
def show(name: str) -> None:
    """Print a profile in words, then its text."""
    body = body_named(name)
    for line in (*body_words(body), "", *body_text(body).splitlines()):
        click.echo(display_name(line, 1000))


@command.command("grey")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--body", "name", metavar="NAME", shell_complete=complete_body, help="Profile to write it into.")
@click.option(
    "--box",
    metavar="L,T,R,B",
    callback=lambda _, __, text: CENTRE_BOX if text is None else _box(text),
    help="Where the card is: left, top, right, bottom as parts of the upright picture.  [default: the centre]",
)
def grey(file: Path, name: str | None, box: Box) -> None:
    """Measure where a grey card lies in the raw FILE, and keep it in the body's profile.

    Expose the card exactly as your own light meter says, evenly lit, out of focus, in raw. Its place is kept as a share
    of saturation: from then on "mid-grey" is where your meter puts it.
    """
    body, share = _measured(file, name, box)
    kept = replace(body, grey=Grey(share, date.today()))
    path = save_body(kept, replace=True)
    click.echo(f"{body.name}: grey {grey_words(kept)}, written to {display_name(path)}")


def camera_words(body: Body) -> str:
    """The camera, and which one of its model."""
    serial = "any serial" if body.serial is None else display_name(body.serial, 60)
    return f"{display_name(body.camera, 60)} {serial}"


def ceiling_words(body: Body) -> str:
    """The ceiling, if it was measured."""
    return "no ceiling" if body.ceiling is None else f"ceiling ISO {_iso(body.ceiling.iso)}"


def grey_words(body: Body) -> str:
    """Where grey lies, against ISO 12232."""
    if body.grey is None:
        return f"not measured: {100 * RAW_GREY:.1f} % of saturation is taken (ISO 12232)"
    stops = body.grey.stops
    side = "nearer to saturation than" if stops > 0 else "below"
    return f"at {100 * body.grey.share:.1f} % of saturation, {abs(stops):.2f} stops {side} ISO 12232's"


def body_words(body: Body) -> list[str]:
    """What a profile means, a line each."""
    lines = [f"{body.name}: {camera_words(body)}"]
    if body.measured is not None:
        how = "after the camera's processing" if body.measured.processed else "in raw"
        lines.append(f"  measured  {body.measured.on}, from {body.measured.frames} frames {how}")
    lines.append(f"  ceiling   {_ceiling_figures(body)}")
    lines.append(f"  grey      {grey_words(body)}")
    for noise in body.noise:
        snr = body.grey_snr(noise.iso)
        clean = "" if snr is None else f", grey SNR {snr:.0f}"
        lines.append(
            f"  ISO {_iso(noise.iso):<6}{noise.gain_dn_per_e:.4g} DN/e, read noise {noise.read_noise_e:.2f} e{clean}"
        )
    return lines


def _ceiling_figures(body: Body) -> str:
    ceiling = body.ceiling
    if ceiling is None:
        return "not measured"
    return f"ISO {_iso(ceiling.iso)} ({_iso(ceiling.low)} to {_iso(ceiling.high)}): {ceiling.found}"


def _iso(iso: float) -> str:
    return label(Setting.ISO, iso)


def _box(text: str) -> Box:
    try:
        left, top, right, bottom = map(float, text.split(","))
    except ValueError:
        raise click.BadParameter("give left,top,right,bottom between 0 and 1, such as 0.4,0.4,0.6,0.6") from None
    if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
        raise click.BadParameter("the box has no area: give left,top,right,bottom between 0 and 1")
    return Box(left, top, right, bottom)


def _measured(file: Path, name: str | None, box: Box) -> tuple[Body, float]:
    """The body of a grey-card frame, and the card's share of saturation. Raises UsageError for a frame unfit for it."""
    bodies = _bodies_without_grey(name)
    read = _read(file, box, bodies)
    reading = read.reading
    if reading.source != "raw":
        raise UsageError(f"{file} gives no raw data, so its saturation is not known", "shoot the card in raw")
    if reading.area_clipped_percent > _MOST_CLIPPED_PERCENT:
        raise UsageError("the card is clipped", "expose it as your light meter says")
    if abs(reading.level_stops) > _FARTHEST_STOPS:
        raise UsageError(
            f"the card lies {reading.level_stops:+.1f} stops from where ISO 12232 has it, too far for any body",
            "expose it as your light meter says, or say where it is with --box",
        )
    return _body_for(name, bodies, read.metadata), RAW_GREY * 2.0**reading.level_stops


def _bodies_without_grey(name: str | None) -> Bodies:
    """All profiles, so that levels are against ISO 12232's grey. Raises BodyError if the one named cannot be read."""
    if name in profile_names():
        body_named(name)
    return Bodies(tuple(replace(body, grey=None) for body in read_library().bodies), name)


def _read(file: Path, box: Box, bodies: Bodies) -> Read:
    ((_, outcome),) = outcomes([file], Aim("card", box=box), Step.THIRD, bodies)
    if isinstance(outcome, Read):
        return outcome
    problem = problem_of(file, outcome.fault, outcome.detail)
    raise UsageError(f"{file}: {problem.problem}", problem.advice)


def _body_for(name: str | None, bodies: Bodies, metadata: Metadata) -> Body:
    """The profile to write into; one that is not there yet is begun under the given name."""
    camera, serial = metadata.camera, metadata.serial
    if camera is None:
        raise UsageError("this capture does not say which camera took it", "use a raw as the camera wrote it")
    found = bodies.of(camera, serial)
    if name is None:
        if found.body is None:
            raise UsageError(f"{found.by} ({camera})", "name the one to write into, or to begin, with --body")
        return found.body
    if bodies.chosen is not None and found.body != bodies.chosen:
        raise UsageError(f"body profile {name} is of another camera", "give another name with --body")
    return bodies.chosen or Body(name, camera, serial)
