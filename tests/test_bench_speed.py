"""The parts of the bench that measure what a user waits for, on small samples."""

import sys
from pathlib import Path

import pytest
from benchmarks import arrival, dashboard, growth, looks, stream
from benchmarks.captures import copied, make_captures
from benchmarks.rows import percentile_row

from tetherwatch.watch.disk import fingerprint

needs_terminal = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are not part of Windows' Python")


def test_a_percentile_is_one_of_the_measurements() -> None:
    """Of forty, two may be slower than the 95th percentile."""
    row = percentile_row("x", [float(value) for value in range(1, 41)], "ms", 95, at_most=38)
    assert (row.value, row.low, row.high, row.held) == (38.0, 1.0, 40.0, True)


def test_copies_are_captures_of_their_own(tmp_path: Path) -> None:
    """Each has another content than the file that was copied, and than the copy before."""
    (capture,) = make_captures(tmp_path / "made", 0.1)
    copies = [copied(capture, tmp_path / "copies", number) for number in range(2)]
    assert len({fingerprint(path) for path in (capture, *copies)}) == 3


def test_a_capture_is_timed_to_its_event(tmp_path: Path) -> None:
    """Each staged file but the first two has two waits, the look's the shorter; reading waits for settling."""
    staged = make_captures(tmp_path / "staged", 0.1, frames=3)
    seen, read = arrival.event_waits_s(staged, tmp_path / "captures")
    assert (len(seen), len(read)) == (1, 1)
    assert 0 < seen[0] <= read[0] < 30
    assert read[0] >= arrival.PATIENCE.settle_s


@pytest.mark.parametrize("ahead", [0, 3])
def test_first_looks_are_timed(ahead: int, tmp_path: Path) -> None:
    """Each copy has its wait, also while others are being read."""
    (capture,) = make_captures(tmp_path / "made", 0.1)
    waits = looks.waits_s(capture, tmp_path / "watched", 2, ahead)
    assert len(waits) == 2
    assert all(0 < wait < 30 for wait in waits)


def test_a_stream_is_seen_and_read_to_its_end(tmp_path: Path) -> None:
    """Every file that was dropped is read, none before it was dropped."""
    (capture,) = make_captures(tmp_path / "made", 0.1, files="jpeg")
    streamed = stream.streamed(capture, tmp_path / "stream", 4)
    assert len(streamed.dropped) == 4
    assert streamed.dropped.keys() == streamed.read.keys()
    assert all(streamed.read[file] >= streamed.seen[file] > at for file, at in streamed.dropped.items())


def test_the_screen_is_fresh_as_soon_as_it_shows_something_newer() -> None:
    """A file that was passed by for a newer one has waited only until that one was shown."""
    told = stream.Stream({"a": 0.0, "b": 1.0, "c": 2.0}, {"a": 9.0, "b": 1.5, "c": 3.0}, {})
    assert sorted(stream.freshness_s(told)) == [0.5, 1.0, 1.5]


def test_work_for_a_frame_is_set_against_the_shortest_session() -> None:
    """Growth is the median of what each turn shows."""
    works = {10: growth.Work([1.0, 2.0, 9.0], 5.0), 1000: growth.Work([2.0, 4.0, 9.0], 50.0)}
    *_, grown = growth.length_rows(works)
    assert (grown.value, grown.held) == (2.0, False)


def test_a_frame_after_many_is_timed() -> None:
    """Each frame that comes after a session's own has a time."""
    works = growth.works_of((3, 20))
    assert [*works] == [3, 20]
    for work in works.values():
        assert len(work.taken_ms) == growth.TAKEN
        assert min(*work.taken_ms, work.open_ms) > 0


@needs_terminal
def test_the_first_dashboard_is_seen(tmp_path: Path) -> None:
    """A terminal shows the plan's name, and the dashboard quits."""
    assert 0 < dashboard.start_s(tmp_path) < 60


@needs_terminal
def test_the_dashboard_tells_how_long_it_draws(tmp_path: Path) -> None:
    """A session that goes on is shown; the stages of a new frame are read off the screen."""
    start, drawn, *_ = dashboard.session_rows(tmp_path, frames=3, repeats=1, idle_s=0.1)
    assert 0 < start.value < 60_000
    assert 0 < drawn.value < 5000
