"""Which captures have become frames."""

from pathlib import Path

from tetherwatch.watch.given import Given
from tetherwatch.watch.ledger import Identity
from tetherwatch.watch.records import Capture


def capture(name: str, mark: bytes | None = b"1", mtime_ns: int = 1) -> Capture:
    """A capture of some content."""
    return Capture(Path(name), 100, mtime_ns, 0.0, fingerprint=mark)


class Disk:
    """Tells what lies there."""

    def __init__(self, *captures: Capture) -> None:
        self.files = {(str(each.path), each.size, each.mtime_ns) for each in captures}

    def __call__(self, file: Identity) -> bool:
        return file in self.files


def test_the_same_content_under_the_same_name_is_known_whatever_its_time():
    """It was only touched; other content is not known."""
    given = Given()
    given.note(capture("a.dng"), whole=True)
    touched = capture("a.dng", mtime_ns=2)
    assert given.knows(touched, Disk(touched))
    assert not given.knows(capture("a.dng", b"2", 2), Disk())


def test_a_renamed_content_is_known_and_a_copy_is_not():
    """What tells is whether it still lies where it was."""
    given = Given()
    old, new = capture("a.dng"), capture("b.dng")
    given.note(old, whole=True)
    assert given.knows(new, Disk(new))
    assert not given.knows(new, Disk(old, new))
    assert given.knows(new, Disk(old))


def test_a_content_replaced_by_another_under_its_name_is_known_elsewhere():
    """Moved away, and the camera used its name again."""
    given = Given()
    given.note(capture("a.dng"), whole=True)
    replaced, moved = capture("a.dng", b"2", 2), capture("b.dng")
    assert given.knows(moved, Disk(replaced, moved))


def test_what_was_not_read_whole_or_has_no_fingerprint_is_never_known():
    """It is read again, which may go better."""
    given = Given()
    given.note(capture("a.dng"), whole=False)
    given.note(capture("b.dng", None), whole=True)
    assert not given.knows(capture("a.dng", mtime_ns=2), Disk())
    assert not given.knows(capture("b.dng", None, 2), Disk())
    assert (given.has(Path("a.dng")), given.has_poor(Path("a.dng"))) == (True, True)
    assert (given.has(Path("b.dng")), given.has_poor(Path("b.dng"))) == (True, False)


def test_a_whole_frame_takes_the_place_of_a_poor_one_and_what_is_forgotten_was_not_given():
    """By name."""
    given = Given()
    given.note(capture("a.dng"), whole=False)
    given.note(capture("a.dng", mtime_ns=2), whole=True)
    assert not given.has_poor(Path("a.dng"))
    given.forget(Path("a.dng"))
    assert not given.has(Path("a.dng"))
    assert not given.has(None)


def test_what_was_given_before_is_known():
    """From its place and fingerprint; without one it is known by name only."""
    given = Given()
    given.go_on({("a.dng", 100, 1): b"1", ("b.dng", 100, 1): None})
    assert given.knows(capture("a.dng", mtime_ns=5), Disk())
    assert given.knows(capture("c.dng"), Disk(capture("c.dng")))
    assert given.has(Path("b.dng"))
    assert not given.knows(capture("b.dng", b"2", 5), Disk())
