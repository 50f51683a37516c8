"""Faces: how many are found, how far the reading is from the truth, and what both cost."""

import math
import random
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import numpy as np

from benchmarks import facecost
from benchmarks.apart import measured_apart
from benchmarks.captures import read
from benchmarks.portraits import Portrait, Pose, portrait, ratio_stops, sitters, skin_stops, take
from benchmarks.rows import Row, Rows
from tetherwatch.meter.records import Aim, Face

WIDTH, HEIGHT = 3200, 2136
HEIGHTS = (80, 120, 200, 400, 700)
"""Heights of faces in pixels of a picture 1600 wide; the sensor has twice as many."""

TILTS = (-30, -15, 0, 15, 30)
OFFSETS = (-3.0, -1.5, 0.0, 1.5)
ISOS = (100, 1600, 6400, 25600)
DARKER = (0.0, 1.0, 2.0)
TONES = (0.02, 0.18, 0.9)
FILLS = (0.0, 0.0, 2.0)

FOUND_AT_LEAST = 95.0
FALSE_AT_MOST = 0.5
"""Percent; in the dark at ISO 25600 one of hundreds has its eyes in the wrong place."""

ERROR_AT_MOST = 0.05
COST_AT_MOST_MS = 40.0
_SAME = 0.35
"""Both eyes lie within this many distances between the eyes of the true ones."""

FACE = Aim("face")


@dataclass(frozen=True, slots=True)
class Sample:
    """One portrait taken. `false`: finds that are no face. Errors are None where it was not found or is clipped."""

    height_px: float
    tilt_deg: float
    offset_stops: float
    iso: float
    darker_stops: float
    found: bool
    false: int
    error_stops: float | None
    ratio_error_stops: float | None

    @property
    def extreme(self) -> bool:
        """Less than some ten electrons a pixel from a mid-grey: the highest ISO, underexposed."""
        return self.iso > 6400 and self.offset_stops < 0


def measure(quick: bool) -> Rows:
    """Rows of what is found, of the errors, of clothes and backdrops, and of the time."""
    measured = samples(60 if quick else 240, 2026)
    return (*found_rows(measured), *error_rows(measured), moved_row(2 if quick else 8), *cost_rows(9 if quick else 25))


def samples(count: int, seed: int) -> list[Sample]:
    """`count` portraits, each of everything drawn at random."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        return [_sample(Path(folder, "portrait.dng"), rng) for _ in range(count)]


def _sample(path: Path, rng: random.Random) -> Sample:
    height, tilt = rng.choice(HEIGHTS), rng.choice(TILTS)
    offset, iso = rng.choice(OFFSETS), rng.choice(ISOS)
    pose = Pose(
        height_px=height * WIDTH / 1600,
        tilt_deg=tilt,
        middle=(rng.uniform(0.4, 0.6), 0.42),
        darker_stops=rng.choice(DARKER),
        fill_stops=rng.choice(FILLS),
        backdrop=rng.choice(TONES),
        wardrobe=rng.choice(TONES),
    )
    scene = portrait(sitters()[rng.choice(sorted(sitters()))], pose, WIDTH, HEIGHT, rng.randrange(2**32))
    take(path, scene, offset, iso, rng.randrange(2**32))
    reading = read(path, FACE).reading
    hits = [face for face in reading.faces if is_it(face, scene)]
    error = ratio = None
    if reading.face in hits and reading.sides is not None and not reading.area_clipped_percent:
        error = reading.level_stops - skin_stops(scene) - offset
        ratio = reading.sides.left_stops - reading.sides.right_stops - ratio_stops(scene)
    false = len(reading.faces) - len(hits)
    return Sample(height, tilt, offset, iso, pose.darker_stops, bool(hits), false, error, ratio)


def is_it(face: Face, scene: Portrait) -> bool:
    """Whether a find is the sitter: both eyes are where they truly are."""
    _, rows, columns = scene.cells.shape
    left, right = ((x * columns, y * rows) for x, y in (scene.left_eye, scene.right_eye))
    eyes = ((eye.x * columns, eye.y * rows) for eye in (face.left_eye, face.right_eye))
    return max(map(math.dist, eyes, (left, right))) < _SAME * math.dist(left, right)


def found_rows(measured: Sequence[Sample]) -> Rows:
    """Percent found: of all but the darkest noise, then by what may make it hard."""
    sound = [sample for sample in measured if not sample.extreme]
    rows = [_found(f"found, faces of {HEIGHTS[0]} px and more, up to 30 degrees", sound, FOUND_AT_LEAST)]
    groups: tuple[tuple[str, Callable[[Sample], float]], ...] = (
        ("{:g} px high", lambda s: s.height_px),
        ("tilted by {:g} degrees", lambda s: abs(s.tilt_deg)),
        ("exposed by {:+g} stops", lambda s: s.offset_stops),
        ("ISO {:g}", lambda s: s.iso),
        ("skin {:g} stops darker", lambda s: s.darker_stops),
    )
    for words, of in groups:
        rows += [
            _found(f"found, {words.format(value)}", [s for s in sound if of(s) == value])
            for value in sorted(set(map(of, sound)))
        ]
    rows.append(_found("found, ISO 25600 underexposed", [sample for sample in measured if sample.extreme]))
    false = 100 * sum(sample.false for sample in measured) / max(len(measured), 1)
    return (*rows, Row("finds that are no face, or whose eyes are elsewhere", false, "%", at_most=FALSE_AT_MOST))


def _found(figure: str, measured: Sequence[Sample], at_least: float | None = None) -> Row:
    share = 100 * sum(sample.found for sample in measured) / max(len(measured), 1)
    return Row(f"{figure} ({len(measured)})", share, "%", at_least=at_least)


def error_rows(measured: Sequence[Sample]) -> Rows:
    """How far readings are from the truth, in all and by how dark the skin is, and the lighting ratio's error."""
    sound = [sample for sample in measured if not sample.extreme]
    rows = [_errors("offset from the truth, 95th percentile", [s.error_stops for s in sound], ERROR_AT_MOST)]
    for darker in DARKER:
        inside = [sample.error_stops for sample in sound if sample.darker_stops == darker]
        rows.append(_errors(f"same, skin {darker:g} stops darker", inside))
    return (*rows, _errors("lighting ratio from the truth, 95th percentile", [s.ratio_error_stops for s in sound]))


def _errors(figure: str, errors: Sequence[float | None], at_most: float | None = None) -> Row:
    known = [error for error in errors if error is not None]
    value = float(np.percentile(np.abs(known), 95)) if known else math.nan
    return Row(figure, value, "stop", min(known, default=None), max(known, default=None), at_most)


def moved_row(people: int) -> Row:
    """How far backdrop and clothes from black to white move the reading of the same face."""
    moves = [move for seed in range(people) for move in moved(seed)]
    figure = "reading moved by backdrop and clothes from black to white, worst"
    return Row(figure, max(map(abs, moves)), "stop", min(moves), max(moves), ERROR_AT_MOST)


def moved(seed: int) -> list[float]:
    """Stops between the reading before mid-grey and the readings in other clothes before other backdrops."""
    sitter = list(sitters().values())[seed % len(sitters())]
    looks = [(0.18, 0.18), *((backdrop, wardrobe) for backdrop in (0.02, 0.9) for wardrobe in (0.02, 0.9))]
    levels = []
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        path = Path(folder, "portrait.dng")
        for backdrop, wardrobe in looks:
            pose = Pose(300.0 + 40 * seed, 5.0 * (seed - 3), backdrop=backdrop, wardrobe=wardrobe)
            take(path, portrait(sitter, pose), 0.0, 400, seed)
            levels.append(read(path, FACE).reading.level_stops)
    return [level - levels[0] for level in levels[1:]]


def cost_rows(repeats: int) -> Rows:
    """What a face adds to the frame's own reading, in processor time of one thread; the median of some pairs."""
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        path = Path(folder, "portrait.dng")
        take(path, portrait(sitters()["scikit-image"], Pose(1200.0), 6000, 4000), 0.0, 400, 1)
        times = measured_apart(facecost.__file__, path, repeats)
    added = [1000 * (face - frame) for face, frame in zip(times["face"], times["frame"], strict=True)]
    looking = [1000 * seconds for seconds in times["looking"]]
    return (
        Row("a face adds to a frame of 24 MP", median(added), "ms", min(added), max(added), COST_AT_MOST_MS),
        Row("of that, looking for it", median(looking), "ms", min(looking), max(looking)),
    )
