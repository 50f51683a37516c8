"""Rehearsed noise ladders of random cameras against their truth, disturbances, and what measuring costs."""

import math
import random
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import get_args

import numpy as np

from benchmarks import ladder_cost
from benchmarks.captures import STARTED_AT
from benchmarks.rows import Row, Rows
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.stops import Setting
from tetherwatch.ladder.measure import measure_ladder
from tetherwatch.ladder.noise import viewing_scale
from tetherwatch.ladder.records import Ladder, Options, Rung
from tetherwatch.rehearse.camera import GREY_SHARE, Camera
from tetherwatch.rehearse.ladder import Disturbance, LadderOptions, rehearse_ladder
from tetherwatch.rehearse.options import cell_grid

LIMITS = {"gain": 1.0, "read noise": 3.0, "SNR": 2.0}
"""Percent of error."""

RIGHT_CEILINGS = 95.0
"""Percent of the ladders, at least, whose ceiling is the true third-stop."""

MEGAPIXELS = 2.0
RUNGS = 8
SEED = 2026
KINDS: dict[Disturbance, str] = {
    "flicker": "flicker",
    "moved": "moved",
    "skipped": "missing rung",
    "repeated": "repeated rung",
    "light": "light",
    "nd": "compensated",
    "aperture": "aperture",
    "denoised": "noise reduction",
    "clipped": "clipped",
}
"""The finding that each disturbance comes to."""


@dataclass(slots=True)
class Sweep:
    """What many ladders came to. `errors` in percent by figure; `missed` and `invented` name what was not found or was
    found without reason."""

    errors: dict[str, list[float]] = field(default_factory=lambda: {name: [] for name in LIMITS})
    ceilings: list[bool] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    invented: list[str] = field(default_factory=list)
    disturbed: int = 0


def measure(quick: bool) -> Rows:
    """Rows for figures, ceilings and disturbances, then for time and memory."""
    return rows_of(sweep(8 if quick else 200, 1 if quick else 10, SEED)) + ladder_cost.measure(quick)


def sweep(clean: int, disturbed: int, seed: int) -> Sweep:
    """Measure `clean` ladders of random cameras, and `disturbed` of each disturbance."""
    result = Sweep()
    for index in range(clean):
        rng = random.Random(seed + index)
        camera, options = random_camera(rng), random_options(rng)
        ladder = played(camera, options, rng.randrange(2**32))
        judge(ladder, camera, options, result)
    assert set(get_args(Disturbance)) == set(KINDS)
    for index in range(disturbed):
        for disturbance in KINDS:
            rng = random.Random(f"{seed} {index} {disturbance}")
            found = kinds(played(random_camera(rng), random_options(rng), rng.randrange(2**32), disturbance))
            result.disturbed += 1
            if KINDS[disturbance] not in found:
                result.missed.append(disturbance)
            result.invented += sorted(found - {KINDS[disturbance], "missing rung"})
    return result


def random_camera(rng: random.Random) -> Camera:
    """A body of any kind: small to large pixels, quiet to noisy."""
    return replace(
        Camera(),
        full_well_e=math.exp(rng.uniform(math.log(20_000), math.log(90_000))),
        early_noise_e=rng.uniform(1.5, 8.0),
        late_noise_dn=rng.uniform(0.5, 3.0),
        prnu=rng.uniform(0.0, 0.01),
    )


def random_options(rng: random.Random) -> Options:
    """Grades of all kinds, so that grey and shadows both come to limit."""
    grade = math.exp(rng.uniform(math.log(8), math.log(60)))
    return Options(grade=grade, shadow_grade=grade / rng.uniform(2.9, 6.0))


def played(camera: Camera, options: Options, seed: int, disturbance: Disturbance | None = None) -> Ladder:
    """Write a ladder, and measure it."""
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        chosen = LadderOptions(rungs=RUNGS, seed=seed, megapixels=MEGAPIXELS, compressed=False, disturbance=disturbance)
        files = [Path(folder, truth.file) for truth in rehearse_ladder(Path(folder), chosen, STARTED_AT, camera)]
        return measure_ladder(files, options)


def kinds(ladder: Ladder) -> set[str]:
    """What was found at all; a ceiling out of reach is no fault of the ladder."""
    return {finding.kind for finding in ladder.all_findings} - {"grade"}


def judge(ladder: Ladder, camera: Camera, options: Options, into: Sweep) -> None:
    """Hold a clean ladder against its camera."""
    into.invented += sorted(kinds(ladder))
    for rung in ladder.rungs:
        for name, error in errors(rung, camera).items():
            into.errors[name].append(100 * abs(error))
    true = true_ceiling(camera, options)
    if true is not None:
        into.ceilings.append(ladder.ceiling is not None and math.isclose(ladder.ceiling.iso, true, rel_tol=1e-6))


def errors(rung: Rung, camera: Camera) -> dict[str, float]:
    """Relative errors of a rung's figures."""
    gain, read, snr = rung.gain_dn_per_e, rung.read_noise_e, rung.snr_grey
    if gain is None or read is None or snr is None:
        return dict.fromkeys(LIMITS, math.inf)
    return {
        "gain": gain.value / camera.gain(rung.iso) - 1,
        "read noise": read.value / camera.read_noise_e(rung.iso) - 1,
        "SNR": snr.value / true_snr(camera, rung.iso, 1.0) - 1,
    }


def true_snr(camera: Camera, iso: float, part: float) -> float:
    """Signal to noise at a part of mid-grey, before the rounding to codes."""
    grey_e = part * GREY_SHARE * (camera.white - camera.black) / camera.gain(iso)
    return grey_e / math.sqrt(grey_e + camera.read_noise_e(iso) ** 2)


def true_ceiling(camera: Camera, options: Options) -> float | None:
    """The highest third-stop within the rungs that keeps both grades; None if the lowest rung does not."""
    scale = viewing_scale(options.output, 2 * max(cell_grid(MEGAPIXELS)))
    dial, good = Dial(Setting.ISO, Step.THIRD), None
    for position in range(3 * (RUNGS - 1) + 1):
        iso = dial.value(position)
        grey, shadow = (scale * true_snr(camera, iso, part) for part in (1.0, 1 / 8))
        if grey < options.grade or shadow < (options.shadow_grade or 0.0):
            break
        good = iso
    return good


def rows_of(result: Sweep) -> Rows:
    """The figures of a sweep."""
    rows: list[Row] = []
    for name, limit in LIMITS.items():
        values = result.errors[name]
        title = f"{name}: 95th percentile of the error of {len(values)} rungs"
        rows.append(Row(title, _percentile(values), "%", min(values), max(values), at_most=limit))
    right = 100 * float(np.mean(result.ceilings))
    rows.append(
        Row(f"ceilings on the right third-stop, of {len(result.ceilings)}", right, "%", at_least=RIGHT_CEILINGS)
    )
    title = f"disturbances missed, of {result.disturbed}"
    rows.append(Row(_named(title, result.missed), len(result.missed), "", at_most=0))
    rows.append(Row(_named("findings without reason", result.invented), len(result.invented), "", at_most=0))
    return tuple(rows)


def _named(title: str, names: Sequence[str]) -> str:
    return f"{title} ({', '.join(sorted(set(names)))})" if names else title


def _percentile(values: Sequence[float]) -> float:
    return float(np.percentile(values, 95))
