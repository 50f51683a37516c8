"""A watch that goes on from an earlier one."""

import os
from pathlib import Path

from watch_running import Running, write

from tetherwatch.frame.faults import Fault
from tetherwatch.watch.disk import fingerprint
from tetherwatch.watch.ledger import Identity, Remembered
from tetherwatch.watch.listing import Listing, entry_at
from tetherwatch.watch.records import Capture, Metered


class Book:
    """A ledger that writes down what it is told."""

    def __init__(self, remembered: Remembered | None = None, aside: frozenset[str] = frozenset()) -> None:
        self.past = remembered or Remembered()
        self.aside = aside
        self.skipped: Listing = {}
        self.told: list[tuple[str, str]] = []

    def remembered(self) -> Remembered:
        """What it was made with."""
        return self.past

    def looked(self, skipped: Listing) -> None:
        """Keep what was skipped."""
        self.skipped = skipped

    def allows(self, capture: Capture) -> bool:
        """Refuse what is set aside."""
        self.told.append(("asked", capture.path.name))
        return capture.path.name not in self.aside

    def began(self, capture: Capture) -> None:
        """Keep the name."""
        self.told.append(("began", capture.path.name))

    def ended(self, capture: Capture, fault: Fault | None) -> None:
        """Keep the outcome."""
        self.told.append(("ended" if fault is None else fault.name, capture.path.name))

    def recognised(self, capture: Capture) -> None:
        """Keep the name."""
        self.told.append(("recognised", capture.path.name))


def known(*paths: Path) -> dict[str, object]:
    """Captures as listed now."""
    return {str(path): entry_at(str(path)) for path in paths}


def given(path: Path) -> dict[Identity, bytes | None]:
    """A capture that was read before."""
    status = path.stat()
    return {(str(path), status.st_size, status.st_mtime_ns): fingerprint(path)}


def test_what_is_known_is_not_read_again(tmp_path):
    """What came meanwhile is, and is numbered after it."""
    old = write(tmp_path / "old.dng", "good old end")
    book = Book(Remembered(known=known(old), given=given(old), sequence=41))
    write(tmp_path / "meanwhile.dng", "good meanwhile end")
    with Running(tmp_path, from_start=True, ledger=book) as running:
        running.until(lambda: running.frames)
        running.idle()
    assert running.frames == [("meanwhile.dng", False)]
    assert [event.capture.sequence for event in running.seen if isinstance(event, Metered)] == [42]


def test_a_known_name_with_another_content_is_a_new_frame(tmp_path):
    """A counter that started anew while the program was down."""
    path = write(tmp_path / "a.dng", "good old end")
    book = Book(Remembered(known=known(path), given=given(path)))
    write(path, "good new and longer end")
    with Running(tmp_path, from_start=True, ledger=book) as running:
        running.until(lambda: running.frames)
    assert running.frames == [("a.dng", False)]


def test_a_capture_renamed_meanwhile_is_recognised(tmp_path):
    """By its content; it is not given again."""
    path = write(tmp_path / "a.dng", "good a end")
    book = Book(Remembered(known=known(path), given=given(path)))
    path.rename(tmp_path / "b.dng")
    with Running(tmp_path, from_start=True, ledger=book) as running:
        running.until(lambda: ("recognised", "b.dng") in book.told)
        running.idle()
    assert running.frames == []


def test_the_raw_of_a_jpeg_given_before_is_its_better_reading(tmp_path):
    """Not another frame."""
    jpeg = write(tmp_path / "a.jpg", "good jpeg end")
    book = Book(Remembered(known=known(jpeg), given=given(jpeg)))
    write(tmp_path / "a.dng", "good raw end")
    with Running(tmp_path, from_start=True, ledger=book) as running:
        running.until(lambda: running.frames)
    assert running.frames == [("a.dng", True)]


def test_every_attempt_is_told_before_and_after(tmp_path):
    """Also one that gives no frame."""
    book = Book()
    with Running(tmp_path, ledger=book) as running:
        write(tmp_path / "a.dng")
        running.until(lambda: running.frames)
        (tmp_path / "b.dng").mkdir()
        running.until(lambda: running.problems)
    assert book.told == [
        *(("asked", "a.dng"), ("began", "a.dng"), ("ended", "a.dng")),
        *(("asked", "b.dng"), ("began", "b.dng"), ("NOT_A_FILE", "b.dng")),
    ]


def test_what_is_set_aside_is_said_and_not_read(tmp_path):
    """The others are."""
    book = Book(aside=frozenset({"killer.dng"}))
    with Running(tmp_path, ledger=book) as running:
        write(tmp_path / "killer.dng", "good killer end")
        running.until(lambda: running.problems)
        write(tmp_path / "a.dng")
        running.until(lambda: running.frames)
    assert running.problems == [("killer.dng", Fault.SET_ASIDE.problem)]
    assert [path.name for path in running.reader.started] == ["a.dng"]


def test_the_doubtful_are_read_last(tmp_path):
    """A capture that may take the program down must not keep it from the others."""
    doubtful: set[Identity] = set()
    for number in range(1, 6):
        path = write(tmp_path / f"{number}.dng", f"good {number} end")
        os.utime(path, (number, number))
        if number in (1, 3):
            doubtful |= given(path).keys()
    book = Book(Remembered(doubtful=frozenset(doubtful)))
    with Running(tmp_path, from_start=True, ledger=book) as running:
        running.until(lambda: len(running.frames) == 5)
    assert [name for name, _ in running.frames] == ["2.dng", "4.dng", "5.dng", "1.dng", "3.dng"]


def test_what_was_skipped_is_told(tmp_path):
    """Nothing is, where all is to be read."""
    path = write(tmp_path / "old.dng")
    for from_start, skipped in ((False, known(path)), (True, {})):
        book = Book()
        with Running(tmp_path, from_start=from_start, ledger=book):
            pass
        assert book.skipped == skipped
