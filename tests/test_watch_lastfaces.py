"""Which face is remembered for a frame in which none is found."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from session_records import metered

from tetherwatch.meter.records import Aim, Box, Face, Point
from tetherwatch.watch.lastfaces import FRAMES, LastFaces
from tetherwatch.watch.task import Read

AIM = Aim("face")


def read_with(face: Face | None) -> Read:
    """A capture read, with this face metered."""
    made = metered("1.DNG", 0.0)
    return Read(made.metadata, replace(made.reading, face=face), made.thumbnail)


def face_at(x: float) -> Face:
    """A face around a place."""
    return Face(Box(x - 0.1, 0.2, x + 0.1, 0.6), Point(x - 0.05, 0.3), Point(x + 0.05, 0.3), 1.0)


def test_the_last_face_before_a_frame_counts_for_a_few_frames() -> None:
    """It says how long ago that was; later faces and those of too long ago do not count."""
    last = LastFaces()
    last.note(3, read_with(face_at(0.3)))
    last.note(9, read_with(face_at(0.9)))
    assert last.aim(AIM, 3).last is None
    found = last.aim(AIM, 5).last
    assert found is not None and (found.face, found.ago) == (face_at(0.3), 2)
    assert last.aim(AIM, 3 + FRAMES).last is not None and last.aim(AIM, 3 + FRAMES).last.ago == FRAMES  # type: ignore[union-attr]
    assert last.aim(AIM, 9 + FRAMES + 1).last is None


def test_other_areas_need_no_face() -> None:
    """The aim of a card stays as it is."""
    last = LastFaces()
    last.note(1, read_with(face_at(0.5)))
    assert last.aim(Aim("card"), 2) == Aim("card")


def test_a_frame_read_again_without_its_face_is_forgotten() -> None:
    """What counts is the last reading of a frame."""
    last = LastFaces()
    last.note(1, read_with(face_at(0.5)))
    last.note(1, read_with(None))
    assert last.aim(AIM, 2).last is None


@given(st.permutations(range(8)))
def test_the_order_of_reading_does_not_matter(order: list[int]) -> None:
    """Frames may be read in any order: the face is that of the frame just before."""
    last = LastFaces()
    for rank in order:
        last.note(rank, read_with(face_at(rank / 10 + 0.1)))
    for rank in range(1, 9):
        found = last.aim(AIM, rank).last
        assert found is not None and (found.face, found.ago) == (face_at((rank - 1) / 10 + 0.1), 1)
