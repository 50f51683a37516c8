"""Which frames of a setup show the same view, so that their light values may be compared."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from session_records import PLAN, SETTINGS
from setup_frames import judged

from tetherwatch.meter.records import AreaKind
from tetherwatch.setups.growth import Entry, begun, joined
from tetherwatch.setups.kinship import same_view
from tetherwatch.setups.records import Look, Material, Sample, Setup

CELLS = 864
EVEN = (0.0,) * 54


def sample(layout: Sequence[float | None], area: AreaKind = "frame", seen: float = 1.0) -> Sample:
    """A picture of this layout, of which this part is neither clipped nor black."""
    told = round(seen * CELLS)
    look = Look((Material(0, 0, 0, told),), CELLS - told, 0, tuple(layout), (0.0, 0.0))
    shot = judged(1, 7.0, 0.0).shot
    return Sample(SETTINGS, 0.0, area, shot.reading.metered, look)


def grown(*samples: Sample, asked: Sequence[int] = ()) -> Setup:
    """A setup of frames with these pictures; those numbered in `asked` follow a call for light."""
    frames = [judged(number, 7.0, 10.0 * number) for number in range(1, len(samples) + 1)]
    setup = begun(1, frames[0])
    for frame, each in zip(frames, samples, strict=True):
        setup = joined(setup, Entry(replace(frame, asked_stops=float(frame.number in asked)), each), 0.0, PLAN)
    return setup


def views(setup: Setup) -> list[int]:
    """Of its points."""
    return [point.view for point in setup.points]


def test_a_face_is_one_view_whatever_stands_around_it() -> None:
    """The person moves, the backdrop is clipped: a face's light is the same."""
    clipped = sample((None,) * 54, "face", seen=0.2)
    assert views(grown(sample(EVEN, "face"), clipped, clipped, sample((*EVEN[:27], *(2.0,) * 27), "face"))) == [0] * 4


@pytest.mark.parametrize("between", [(), (sample((None,) * 54, "frame", seen=0.05),)])
def test_another_area_is_another_view(between: tuple[Sample, ...]) -> None:
    """Also where the first frame of it tells too little to be a point."""
    first, *others = views(grown(sample(EVEN, "face"), *between, sample(EVEN), sample(EVEN)))
    assert len(others) == 2 and others[0] == others[1] > first


def test_turned_light_is_another_view() -> None:
    """Also where the frame that followed the call tells too little."""
    lost = sample(EVEN, seen=0.05)
    first, second = views(grown(sample(EVEN), lost, sample(EVEN), asked=(2,)))
    assert first < second


def test_what_is_lost_in_both_is_the_same() -> None:
    """A clipped backdrop behind one person is one view; where half of it comes to be lost it is another."""
    person, backdrop = (-1.0, 0.0, 1.0) * 4, (None,) * 42
    high_key = sample((*person, *backdrop))
    assert same_view(high_key, sample((*(level + 0.5 for level in person), *backdrop)))
    assert not same_view(high_key, sample((*person, *(0.0,) * 42)))
    assert not same_view(sample(backdrop), sample(backdrop))
