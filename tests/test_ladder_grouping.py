"""Captures become rungs, and what speaks against that is said."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Metadata
from tetherwatch.ladder.grouping import Group, Refusal, Shot, group_shots
from tetherwatch.ladder.records import Finding

CLEAN = Metadata(settings=Settings(1 / 8, 5.6, 100.0), camera="Harrow Q24", serial="HQ-1")


def shots(*isos: float | None, frames: int = 2) -> list[Shot]:
    """So many frames at each ISO, time halved as ISO doubles."""
    taken = [
        replace(CLEAN, settings=Settings(12.5 / iso if iso else 1.0, 5.6, iso)) for iso in isos for _ in range(frames)
    ]
    return [(Path(f"{number:03d}.DNG"), metadata) for number, metadata in enumerate(taken)]


def changed(taken: list[Shot], at: int, **values: Any) -> list[Shot]:
    """The same with one capture's settings or metadata replaced."""
    path, metadata = taken[at]
    settings = {name: values.pop(name) for name in ("shutter_s", "aperture", "iso") if name in values}
    metadata = replace(metadata, settings=replace(metadata.settings, **settings), **values)
    return [*taken[:at], (path, metadata), *taken[at + 1 :]]


def grouped(taken: list[Shot]) -> tuple[tuple[Group, ...], list[Finding]]:
    """Rungs and findings."""
    found: list[Finding] = []
    return group_shots(taken, found), found


def refused(taken: list[Shot]) -> Finding:
    """Why the whole ladder was refused."""
    with pytest.raises(Refusal) as refusal:
        group_shots(taken, [])
    return refusal.value.finding


def test_a_clean_ladder_is_grouped_without_a_word() -> None:
    """Rungs from low to high ISO in exact dial values, two files each, nothing found."""
    groups, found = grouped(list(reversed(shots(100, 200, 400, 800))))
    assert [group.iso for group in groups] == [100, 200, 400, 800]
    assert all(len(group.files) == 2 for group in groups)
    assert groups[0].settings.aperture == 2.0**2.5
    assert not found


def test_third_stop_ladders_are_ladders_too() -> None:
    """Nominal ISOs a third apart are no gaps."""
    groups, found = grouped(shots(100, 125, 160, 200, 250, 320))
    assert len(groups) == 6 and not found


@pytest.mark.parametrize(
    ("isos", "between"), [((100, 200, 800, 1600), "200 and ISO 800"), ((100, 125, 200), "125 and")]
)
def test_a_missing_rung_is_said(isos: tuple[float, ...], between: str) -> None:
    """By the ISOs beside the gap."""
    _, (gap,) = grouped(shots(*isos))
    assert gap.kind == "missing rung" and between in gap.reason and not gap.refuses


def test_of_a_rung_shot_too_often_the_first_pair_is_used() -> None:
    """And that is said."""
    taken = [*shots(100, 200, 400), *[(Path("again.DNG"), shots(200)[0][1])] * 2]
    groups, (found,) = grouped(taken)
    assert found.kind == "repeated rung" and found.iso == 200 and "4 times" in found.reason
    assert Path("again.DNG") not in groups[1].files


def test_frames_of_a_rung_must_share_their_settings() -> None:
    """A frame at another time is not paired."""
    groups, (found,) = grouped(changed(shots(100, 200, 400), 3, shutter_s=1 / 100))
    assert found.kind == "settings" and found.iso == 200
    assert len(groups[1].files) == 1


def test_a_rung_at_another_aperture_is_left_out() -> None:
    """One frame of a rung, or all of it with the gap that leaves."""
    groups, (found,) = grouped(changed(shots(100, 200, 400), 2, aperture=4.0))
    assert found.kind == "aperture" and found.refuses and "a frame at ISO 200" in found.reason
    assert len(groups[1].files) == 1
    both = changed(changed(shots(100, 200, 400), 2, aperture=4.0), 3, aperture=4.0)
    groups, found_both = grouped(both)
    assert [one.kind for one in found_both] == ["aperture", "missing rung"]
    assert [group.iso for group in groups] == [100, 400]


def test_a_capture_without_its_iso_is_left_out_by_name() -> None:
    """The others are measured."""
    groups, (found,) = grouped(changed(shots(100, 200), 3, iso=None))
    assert found.kind == "no metadata" and found.refuses and found.file == Path("003.DNG")
    assert [len(group.files) for group in groups] == [2, 1]


def test_unknown_time_or_aperture_is_said() -> None:
    """Then the light cannot be checked against the settings."""
    taken = changed(changed(shots(100, 200), 2, shutter_s=None), 3, shutter_s=None)
    _, (found,) = grouped(taken)
    assert found.kind == "no metadata" and not found.refuses


@pytest.mark.parametrize(
    ("taken", "kind", "word"),
    [
        ([], "one rung", "no captures"),
        (shots(400), "one rung", "two ISOs"),
        (shots(None, None), "no metadata", "which ISO"),
        (changed(shots(100, 200), 3, camera="Harrow Q45"), "cameras", "Harrow Q24 and Harrow Q45"),
        (changed(shots(100, 200), 3, serial="HQ-2"), "cameras", "HQ-1 and HQ-2"),
    ],
)
def test_what_is_no_ladder_is_refused(taken: list[Shot], kind: str, word: str) -> None:
    """With the reason in plain words."""
    finding = refused(taken)
    assert finding.kind == kind and finding.refuses and word in finding.reason


def test_a_camera_that_does_not_say_its_name_is_taken_for_the_others() -> None:
    """Unknown is not another."""
    groups, found = grouped(changed(shots(100, 200), 3, camera=None, serial=None))
    assert len(groups) == 2 and not found
