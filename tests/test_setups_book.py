"""Which setup a frame belongs to, where only its light value tells."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from session_records import FLASH, PLAN, SETTINGS
from setup_frames import judged, shoot

from tetherwatch.exposure.settings import Settings
from tetherwatch.setups.book import WINDOW, Book
from tetherwatch.setups.records import Judged


def labels(frames: list[Judged], book: Book | None = None) -> list[int]:
    """The setups that the frames are in, in the end."""
    book, found = book or Book(), dict[int, int]()
    for frame in frames:
        book.take(frame, PLAN)
        found |= book.labels
    return [found[frame.number] for frame in frames]


def test_one_light_is_one_setup() -> None:
    """Scatter and pauses alone begin nothing."""
    lights = [7.0 + 0.04 * (-1) ** number for number in range(20)]
    assert labels(shoot(*lights, pauses=(5, 12))) == [1] * 20


def test_another_light_after_a_pause_is_another_setup_at_once() -> None:
    """One frame is enough, as lights are moved in pauses; it is provisional for three."""
    book = Book()
    frames = shoot(*[7.0] * 5, *[9.0] * 4, pauses=(6,))
    assert labels(frames[:6], book) == [1] * 5 + [2]
    assert [setup.state for setup in book.setups] == ["earlier", "provisional"]
    assert labels(frames[6:], book) == [2] * 3
    assert [setup.state for setup in book.setups] == ["earlier", "current"]


def test_without_a_pause_the_boundary_is_set_back_to_where_it_was() -> None:
    """One frame may be chance; when the second agrees, both are in the new setup."""
    book = Book()
    frames = shoot(*[7.0] * 5, *[9.0] * 2)
    assert labels(frames[:6], book) == [1] * 6
    book.take(frames[6], PLAN)
    assert book.labels[6] == book.labels[7] == 2


@given(st.integers(2, 8), st.sampled_from([-6.0, -2.0, 1.5]), st.booleans())
def test_one_frame_out_of_line_splits_nothing(place: int, stops: float, paused: bool) -> None:
    """A misfire, a card or a reflection; after a pause too, once the next frame is as before."""
    lights = [7.0] * 10
    lights[place] += stops
    assert labels(shoot(*lights, pauses=(place + 1,) if paused else ())) == [1] * 10


def test_two_odd_frames_split_nothing() -> None:
    """What is to be shot again says little of the light."""
    assert labels(shoot(7.0, 7.0, 7.0, 1.0, 1.0, 7.0, 7.0, odd=(4, 5))) == [1] * 7


def test_an_earlier_setup_is_recognised() -> None:
    """By its light, whatever the settings are."""
    frames = shoot(*[7.0] * 5, *[9.0] * 5, *[7.0] * 5, pauses=(6, 11))
    other = Settings(2.0**-8, 2.0**2.5, 800.0)
    back = [replace(judged(each.number, 7.05, each.shot.time_s, settings=other)) for each in frames[10:]]
    assert labels([*frames[:10], *back]) == [1] * 5 + [2] * 5 + [1] * 5


def test_light_that_was_asked_for_begins_no_setup() -> None:
    """A call for less light was followed: the setup is being built."""
    frames = shoot(*[9.0] * 3, *[7.5] * 4)
    frames[3] = replace(frames[3], asked_stops=-1.5)
    assert labels(frames) == [1] * 7


def test_the_shutter_moves_no_flash() -> None:
    """Under flash a light value that falls as the shutter shortens is no other light."""
    book = Book()
    for number in range(1, 9):
        shutter = 2.0**-8 if number < 5 else 2.0**-6
        settings = Settings(shutter, SETTINGS.aperture, SETTINGS.iso)
        book.take(judged(number, 7.0 if number < 5 else 5.0, 5.0 * number, settings=settings), FLASH)
    assert [setup.number for setup in book.setups] == [1]


@given(st.lists(st.floats(4, 12), min_size=1, max_size=30), st.sets(st.integers(1, 30)))
def test_any_shoot_keeps_its_books(lights: list[float], pauses: set[int]) -> None:
    """Every frame is in a setup, their counts add up, numbers have no gaps, and only the last frames may change."""
    book, settled = Book(), dict[int, int]()
    for frame in shoot(*lights, pauses=tuple(pauses)):
        before = dict(book.labels)
        book.take(frame, PLAN)
        assert len(book.labels) <= WINDOW
        settled |= {number: before[number] for number in before if number not in book.labels}
    assert sum(setup.frame_count for setup in book.setups) == len(lights)
    assert [setup.number for setup in book.setups] == [*range(1, len(book.setups) + 1)]
    assert set(settled) | set(book.labels) == set(range(1, len(lights) + 1))
    assert sum(setup.state != "earlier" for setup in book.setups) == 1


def test_what_the_user_corrects_stays() -> None:
    """Merged setups are one from then on, and a name goes with it; a split begins another."""
    book = Book()
    frames = shoot(*[7.0] * 5, *[9.0] * 8, pauses=(6,))
    labels(frames[:9], book)
    book.rename(1, "Window")
    book.merge(2, 1, PLAN)
    assert labels(frames[9:], book) == [1] * 4
    assert [(setup.number, setup.name, setup.frame_count) for setup in book.setups] == [(1, "Window", 13)]
    assert book.split(frames[:-1], frames[-1:], PLAN) == 2
    assert [setup.frame_count for setup in book.setups] == [12, 1]
    assert book.current == 2


def test_a_name_stays_while_a_setup_grows_old() -> None:
    """Also one that was given while it was provisional."""
    book = Book()
    frames = shoot(*[7.0] * 20)
    labels(frames[:1], book)
    book.rename(1, "Window")
    labels(frames[1:], book)
    assert [setup.name for setup in book.setups] == ["Window"]


def test_the_light_value_is_that_of_the_last_frames() -> None:
    """With an uncertainty that holds the reading's own."""
    book = Book()
    labels(shoot(*[7.0, 7.1, 6.9] * 4), book)
    (setup,) = book.setups
    assert setup.light_value is not None
    assert setup.light_value.value == pytest.approx(7.0, abs=0.05)
    assert 0.03 <= setup.light_value.uncertainty < 0.1


def test_a_frame_that_comes_late_takes_its_place() -> None:
    """The backlog is read behind the newest frame, and tells the same."""
    frames = shoot(*[7.0] * 4, *[9.0] * 4, pauses=(5,))
    book = Book()
    for frame, behind in ((frames[0], 0), (frames[7], 0), *((frame, 1) for frame in frames[1:7])):
        book.take(frame, PLAN, behind)
    assert [book.labels[frame.number] for frame in frames] == [1] * 4 + [2] * 4
