"""A measured ladder becomes the profile of its body."""

from datetime import date

from tetherwatch.body.records import Body, Ceiling, IsoDial, Measured, Noise
from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.stops import Setting
from tetherwatch.ladder.records import Ladder, Rung


def body_from_ladder(ladder: Ladder, name: str, measured_on: date) -> Body:
    """The profile called `name`. Rungs whose gain or read noise could not be measured are left out of its noise.

    Raises UsageError for a ladder that allows no profile.
    """
    if not ladder.fit_for_profile or ladder.camera is None or ladder.ceiling is None:
        raise UsageError("this ladder allows no body profile", "see what was found in it, and shoot it again")
    ceiling = ladder.ceiling
    return Body(
        name=name,
        camera=ladder.camera,
        serial=ladder.serial,
        dial=_dial(ladder),
        ceiling=Ceiling(ceiling.iso, *ceiling.interval, ceiling.reason),
        noise=tuple(noise for rung in ladder.rungs if (noise := _noise(rung)) is not None),
        measured=Measured(measured_on, sum(rung.frames for rung in ladder.rungs)),
    )


def _noise(rung: Rung) -> Noise | None:
    if rung.gain_dn_per_e is None or rung.read_noise_e is None:
        return None
    saturation = {} if rung.saturation_dn is None else {"g": rung.saturation_dn}
    return Noise(rung.iso, rung.gain_dn_per_e.value, rung.read_noise_e.value, saturation)


def _dial(ladder: Ladder) -> IsoDial:
    """From the lowest to the highest rung, in the finest step that carries them all: a ladder shows no finer one."""
    speeds = [rung.iso for rung in ladder.rungs]
    carrying = (step for step in Step if all(Dial(Setting.ISO, step).position(iso) is not None for iso in speeds))
    return IsoDial(next(carrying, Step.THIRD), min(speeds), max(speeds))
