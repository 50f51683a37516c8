"""The bench of faces counts what it says."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))

from benchmarks import facecost
from benchmarks.faces import Sample, error_rows, found_rows, is_it
from benchmarks.portraits import Pose, portrait, sitters, skin_stops, take

from tetherwatch.meter.records import Box, Face, Point

FOUND = Sample(80, 30, 0.0, 100, 0.0, found=True, false=0, error_stops=0.01, ratio_error_stops=0.02)
MISSED = replace(FOUND, found=False, error_stops=None, ratio_error_stops=None)


def test_found_and_missed_are_counted() -> None:
    """A miss in four is 75 %; the highest ISO underexposed is counted for itself; no false find is allowed."""
    measured = [FOUND, FOUND, FOUND, MISSED, replace(MISSED, iso=25600, offset_stops=-3.0)]
    first, *_, extreme, false = found_rows(measured)
    assert (first.value, first.held) == (75.0, False) and "(4)" in first.figure
    assert (extreme.value, false.value, false.held) == (0.0, 0, True)
    assert found_rows([replace(FOUND, false=1)])[-1].held is False


def test_errors_are_those_of_found_faces() -> None:
    """Missed faces have none; the worst of a few counts."""
    all_of_them, *_ = error_rows([FOUND, MISSED, replace(FOUND, error_stops=-0.2)])
    assert all_of_them.held is False and (all_of_them.low, all_of_them.high) == (-0.2, 0.01)


def test_a_find_is_the_sitter_only_with_both_eyes() -> None:
    """An eye a whole distance off is none."""
    scene = portrait(sitters()["matplotlib"], Pose(400))
    left, right = Point(*scene.left_eye), Point(*scene.right_eye)
    face = Face(Box(0.3, 0.2, 0.7, 0.8), left, right, 1.0)
    assert is_it(face, scene)
    assert not is_it(replace(face, left_eye=Point(left.x - (right.x - left.x), left.y)), scene)


@pytest.mark.parametrize("darker", [0.0, 1.0, 2.0])
def test_darker_skin_is_as_much_darker_as_is_asked(darker: float) -> None:
    """The model darkens linear light, so the truth moves by just that."""
    plain, dark = (portrait(sitters()["matplotlib"], Pose(400, darker_stops=stops)) for stops in (0.0, darker))
    assert skin_stops(plain) - skin_stops(dark) == pytest.approx(darker, abs=0.02)


def test_the_cost_of_a_face_is_timed_in_turn(tmp_path: Path) -> None:
    """Each kind of work as often as asked."""
    take(tmp_path / "p.dng", portrait(sitters()["matplotlib"], Pose(200), 640, 428), 0.0, 100, 1)
    times = facecost.timed(tmp_path / "p.dng", 2)
    assert {name: len(values) for name, values in times.items()} == {"frame": 2, "face": 2, "looking": 2}
