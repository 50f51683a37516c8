"""`tetherwatch plan`: list, show and check plans."""

import click

from tetherwatch.advise.library import load_plan, plan_text, shipped_names
from tetherwatch.advise.power import power_label
from tetherwatch.advise.records import Allowed, Plan, Scene
from tetherwatch.cli.options import complete_plan
from tetherwatch.exposure.dial import label
from tetherwatch.exposure.stops import CAMERA_SETTINGS
from tetherwatch.text import display_name


@click.group("plan", short_help="List, show and check plans.")
def command() -> None:
    """List, show and check plans: what is held, what may move, and in which order."""


@command.command("list")
def list_plans() -> None:
    """Name the shipped plans."""
    width = max(map(len, shipped_names()))
    for name in shipped_names():
        click.echo(f"{name:<{width}}  {load_plan(name).name}")


@command.command("show")
@click.argument("name", shell_complete=complete_plan)
def show(name: str) -> None:
    """Print a plan's text; send it into a file to make it your own."""
    for line in plan_text(name).splitlines():
        click.echo(display_name(line, 1000))


@command.command("check")
@click.argument("file", shell_complete=complete_plan)
def check(file: str) -> None:
    """Check a plan FILE and say in words what it means."""
    for line in plan_words(load_plan(file)):
        click.echo(line)


def plan_words(plan: Plan) -> list[str]:
    """What a plan means, a line each."""
    aim = plan.aim
    place = f"{aim.from_grey_stops:+.2f} stops from mid-grey" if aim.from_grey_stops else "mid-grey"
    lines = [
        f"{display_name(plan.name)}: {plan.light} light, dials in {plan.step.value} stop",
        f"  aim       {aim.area} at {place}, right within {aim.tolerance_stops:g} stop",
        *(f"  {setting.value:<9} {_range_words(plan.allowed(setting), plan)}" for setting in CAMERA_SETTINGS),
        *([f"  power     {_power_words(plan.power)}"] if plan.power else []),
        f"  brighter  {', then '.join(lever.value for lever in plan.brighter)}",
        f"  darker    {', then '.join(lever.value for lever in plan.darker)}",
        f"  scene     {_scene_words(plan.scene)}",
    ]
    return lines + [f"  note: {note}" for note in plan.notes]


def _range_words(allowed: Allowed, plan: Plan) -> str:
    darkest, brightest, start = (
        label(allowed.setting, value, plan.step) for value in (allowed.darkest, allowed.brightest, allowed.start)
    )
    return (
        f"held at {start}" if allowed.locked else f"{darkest} (darkest) to {brightest} (brightest), starts at {start}"
    )


def _power_words(allowed: Allowed) -> str:
    darkest, brightest, start = map(power_label, (allowed.darkest, allowed.brightest, allowed.start))
    return f"held at {start}" if allowed.locked else f"{darkest} to {brightest}, starts at {start}"


def _scene_words(scene: Scene) -> str:
    """What the warnings assume; what the plan does not say is left out."""
    words = [
        "on a tripod" if scene.tripod else "hand-held",
        None if scene.speed_m_s is None else f"the subject moves at {scene.speed_m_s:g} m/s",
        None if scene.distance_m is None else f"the subject is {scene.distance_m:g} m away",
        None if scene.mains_hz is None else f"lamps on {scene.mains_hz} Hz",
    ]
    return ", ".join(word for word in words if word)
