"""What is wrong with a ladder is found before any figure, and nothing is invented on a clean one."""

from dataclasses import replace

import numpy as np
import pytest
from ladder_frames import GREY_SHARE, Light, Sensor, frame, group, ladder, look, scene

from tetherwatch.frame.picture import UNSOUND
from tetherwatch.ladder.checks import Checked, check_all, check_rung
from tetherwatch.ladder.grouping import Refusal
from tetherwatch.ladder.look import Look, look_at

SENSOR = Sensor(prnu=0.005)
LOWEST = look(SENSOR, scene(), 100, 1)


def checked(light: Light, gains: tuple[float, ...] = (1.0, 1.0), **settings: float) -> Checked:
    """The rung at ISO 800 with a scene's light, against the lowest."""
    seen = look(SENSOR, light, 800, 2, LOWEST, gains)
    return check_rung(group(800, **settings), seen, group(100), LOWEST)


def kinds(result: Checked) -> list[str]:
    """What was found."""
    return [finding.kind for finding in result.findings]


@pytest.mark.parametrize("seed", range(3))
def test_nothing_is_invented_on_a_clean_ladder(seed: int) -> None:
    """Three ladders up to ISO 12800: no finding, no mismatch, everything in place."""
    for one in ladder(SENSOR, (100, 400, 1600, 12800), seed):
        assert not one.checked.findings
        assert one.checked.mismatch_stops == pytest.approx(0.0, abs=0.02)
        assert one.checked.in_place
    assert not check_all([one.look for one in ladder(SENSOR, (100, 400), seed)])


@pytest.mark.parametrize("stops", [-0.5, -0.25, 0.25])
def test_changed_light_is_found_with_its_stops(stops: float) -> None:
    """Light that the settings do not explain, both frames alike."""
    result = checked(scene() * 2.0**stops)
    assert kinds(result) == ["light"] and not result.refused
    assert result.mismatch_stops == pytest.approx(stops, abs=0.02)
    assert f"{abs(stops):.2f} stop {'darker' if stops < 0 else 'brighter'}" in result.findings[0].reason


def test_a_rung_far_from_the_others_exposure_is_left_out() -> None:
    """More than a stop away its figures are not comparable."""
    result = checked(scene() * 2.0**-1.5)
    assert kinds(result) == ["light"] and result.refused


def test_an_exposure_that_the_settings_explain_is_told_from_changed_light() -> None:
    """Time not halved by the whole stop: two thirds of a stop brighter, as set."""
    result = checked(scene() * 2.0 ** (2 / 3), shutter_s=1 / 40)
    assert kinds(result) == ["settings"] and not result.refused
    assert result.mismatch_stops == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize(("shutter_s", "stops"), [(1 / 8, -3.0), (1 / 16, -2.0), (1 / 128, 1.0)])
def test_light_that_the_settings_make_up_for_is_recognised(shutter_s: float, stops: float) -> None:
    """A filter of 2 or 3 stops, or lamps turned up by one: named with its stops and normalised."""
    result = checked(scene(), shutter_s=shutter_s)
    assert kinds(result) == ["compensated"] and not result.refused
    assert result.compensated_stops == pytest.approx(stops, abs=0.05)
    assert result.mismatch_stops == pytest.approx(0.0, abs=0.02)
    assert f"{abs(stops):.1f} stops" in result.findings[0].reason


@pytest.mark.parametrize("stops", [0.06, 0.3])
def test_flicker_between_the_frames_of_a_pair_is_found(stops: float) -> None:
    """Half of it up and half down: the pair is as bright as the others, its frames are not."""
    result = checked(scene() * 0.9, (2.0 ** (stops / 2) / 0.9, 2.0 ** (-stops / 2) / 0.9))
    assert kinds(result) == ["flicker"] and f"{stops:.2f}" in result.findings[0].reason
    assert not result.refused


def test_a_moved_camera_is_found_and_detail_not_compared() -> None:
    """Four pixels to the right, both frames alike: noise can still be measured, detail cannot."""
    result = checked(np.roll(scene(), 4, 1))
    assert kinds(result) == ["moved"] and not result.in_place and not result.refused
    assert "4 pixels" in result.findings[0].reason


def seen_pair(first: Light, second: Light) -> Look:
    """A pair whose frames see two different pictures."""
    rng = np.random.default_rng(3)
    frames = [frame(SENSOR.codes(light, 800, rng)) for light in (first, second)]
    return look_at(frames, GREY_SHARE, LOWEST.places)


def test_a_camera_moved_within_a_pair_costs_the_rung() -> None:
    """Its difference shows the scene, not the noise."""
    seen = seen_pair(scene(), np.roll(scene(), 8, 1))
    result = check_rung(group(800), seen, group(100), LOWEST)
    assert "moved" in kinds(result) and result.refused


def test_another_scene_is_left_out() -> None:
    """Nothing of it can be compared."""
    other = 0.4 * np.random.default_rng(1).uniform(0, 1, (15, 24)).repeat(32, 0).repeat(30, 1)
    result = checked(other)
    assert "scene" in kinds(result) and result.refused


@pytest.mark.parametrize("damaged", [0, 1])
def test_a_damaged_frame_of_a_pair_costs_the_rung(damaged: int) -> None:
    """Part of its picture may be anything, so its figures would be."""
    rng = np.random.default_rng(3)
    frames = [frame(SENSOR.codes(scene(), 800, rng)) for _ in range(2)]
    frames[damaged] = replace(frames[damaged], notes=(UNSOUND,))
    result = check_rung(group(800), look_at(frames, GREY_SHARE, LOWEST.places), group(100), LOWEST)
    assert kinds(result) == ["damaged"] and result.refused


def test_noise_reduction_is_found_in_pairs() -> None:
    """Each pixel mixed with its neighbours of the same colour leaves noise that is alike in them."""
    rng, frames = np.random.default_rng(4), []
    for _ in range(2):
        mosaic = SENSOR.codes(scene(), 800, rng).astype(float)
        mixed = 0.6 * mosaic + 0.1 * sum(np.roll(mosaic, 2 * step, axis) for axis in (0, 1) for step in (-1, 1))
        frames.append(frame(np.rint(mixed).astype(np.uint16)))
    result = check_rung(group(800), look_at(frames, GREY_SHARE, LOWEST.places), group(100), LOWEST)
    assert kinds(result) == ["noise reduction"]


def test_clipped_and_black_parts_are_found() -> None:
    """A tenth clipped is said; a picture nearly all clipped or all black is left out."""
    bright = scene()
    bright[:60] = 1.5
    lowest = look(SENSOR, bright, 100, 1)
    part = check_rung(group(800), look(SENSOR, bright, 800, 2, lowest), group(100), lowest)
    assert kinds(part) == ["clipped"] and not part.refused
    assert checked(scene() * 30).refused
    black = checked(np.zeros_like(scene()))
    assert "black" in kinds(black) and black.refused


def looks(factor: float) -> list[Look]:
    """Two rungs of the scene with its light times a factor."""
    return [look(SENSOR, scene() * factor, iso, 6) for iso in (100, 200)]


@pytest.mark.parametrize(("factor", "kind"), [(40.0, "clipped"), (0.0, "black")])
def test_a_ladder_without_anything_to_measure_is_refused(factor: float, kind: str) -> None:
    """All clipped, or the lens cap on."""
    with pytest.raises(Refusal) as refusal:
        check_all(looks(factor))
    assert refusal.value.finding.kind == kind


def test_mixed_sizes_are_refused() -> None:
    """Between rungs and within a pair, with both sizes."""
    with pytest.raises(Refusal, match="576 x 384 and 720 x 480"):
        look(SENSOR, scene(384, 576), 200, 6, LOWEST)
    with pytest.raises(Refusal, match="different sizes"):
        seen_pair(scene(), scene(384, 576))
    with pytest.raises(Refusal, match="too small"):
        look(SENSOR, scene(96, 120), 100, 6)


def test_an_even_scene_cannot_show_that_the_camera_moved() -> None:
    """Said once for the whole ladder; the rungs are not blamed."""
    even = np.full((480, 720), 0.15)
    low, high = (look(SENSOR, even, iso, 6) for iso in (100, 200))
    assert [finding.kind for finding in check_all([low, high])] == ["scene"]
    assert check_rung(group(200), high, group(100), low).in_place


def test_single_frames_are_said_and_need_the_camera_still() -> None:
    """One frame a rung is less certain, and of no use when the picture moved."""
    low = look(SENSOR, scene(), 100, 1, None, (1.0,))
    assert [finding.kind for finding in check_all([low, LOWEST])] == ["single frames"]
    moved = look(SENSOR, np.roll(scene(), 8, 1), 800, 2, low, (1.0,))
    result = check_rung(group(800), moved, group(100), low)
    assert kinds(result) == ["moved", "single frames"] and result.refused
