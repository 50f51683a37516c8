"""Settling, pairs and files that were there before, under a clock of our own."""

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.watch.arrivals import Arrival, Arrivals, Patience
from tetherwatch.watch.listing import Entry

PATIENCE = Patience(settle_s=0.4, odd_s=3.0, pair_s=2.0, late_pair_s=30.0)
RAW, JPEG = str(Path("in", "a_1.dng")), str(Path("in", "A_1.JPG"))


def file(size: int = 100, mtime_ns: int = 1) -> Entry:
    """A file as a look sees it."""
    return Entry("file", size, mtime_ns)


class Folder:
    """A folder whose content is set by hand and looked at when we say."""

    def __init__(self, *, from_start: bool = False, **there: Entry) -> None:
        self.arrivals = Arrivals(PATIENCE, from_start=from_start)
        self.files: dict[str, Entry] = dict(there)
        self.now = 0.0
        self.look()

    def look(self) -> list[Arrival]:
        """Look now."""
        return self.arrivals.observe(dict(self.files), self.now, wall=1000.0 + self.now)

    def wait(self, seconds: float, step: float = 0.1) -> list[Arrival]:
        """Look every `step` seconds for a while; all that arrived."""
        arrived = []
        for _ in range(round(seconds / step)):
            self.now += step
            arrived += self.look()
        return arrived


def names(arrivals: list[Arrival]) -> list[str]:
    """The names of what arrived."""
    return [str(arrival.capture.path) for arrival in arrivals]


def test_a_file_is_handed_on_once_it_has_been_steady():
    """Not before 0.4 s without a change, and never again after."""
    folder = Folder()
    folder.files["x.dng"] = file()
    assert folder.look() == []
    assert folder.wait(0.3) == []
    (arrival,) = folder.wait(0.2)
    assert (arrival.capture.path, arrival.capture.size, arrival.capture.mtime_ns) == (Path("x.dng"), 100, 1)
    assert arrival.changed_at == 0.0
    assert 1000.4 <= arrival.capture.arrived_at <= 1000.6
    assert not arrival.early
    assert folder.wait(60, step=1.0) == []


def test_a_growing_file_is_not_handed_on():
    """As long as it changes between looks, it waits."""
    folder = Folder()
    for size in range(1, 50):
        folder.files["x.dng"] = file(size)
        assert folder.wait(0.2) == []
    assert names(folder.wait(0.5)) == ["x.dng"]


def test_a_changing_time_counts_as_a_change_and_a_future_one_does_not_matter():
    """File time is compared with itself only, never with our clock."""
    folder = Folder()
    for tick in range(5):
        folder.files["x.dng"] = file(mtime_ns=10**20 + tick)
        assert folder.wait(0.3) == []
    assert names(folder.wait(0.5)) == ["x.dng"]


def test_a_stalled_copy_is_handed_on_again_when_it_grows():
    """The first try may fail; what came later is another content."""
    folder = Folder()
    folder.files["x.dng"] = file(50)
    assert names(folder.wait(1.0)) == ["x.dng"]
    folder.files["x.dng"] = file(100, 2)
    assert [arrival.capture.size for arrival in folder.wait(1.0)] == [100]


def test_the_same_name_written_again_is_a_new_capture():
    """Even with the same size: its time tells."""
    folder = Folder()
    folder.files["x.dng"] = file(100, 1)
    assert len(folder.wait(1.0)) == 1
    folder.files["x.dng"] = file(100, 2)
    assert [arrival.capture.mtime_ns for arrival in folder.wait(1.0)] == [2]


def test_a_file_deleted_before_it_settled_is_forgotten():
    """It is not handed on, and starts anew if it comes back."""
    folder = Folder()
    folder.files["x.dng"] = file()
    folder.wait(0.3)
    del folder.files["x.dng"]
    assert folder.wait(1.0) == []
    assert folder.arrivals.unsettled == 0
    folder.files["x.dng"] = file()
    folder.look()
    assert folder.wait(0.3) == []
    assert names(folder.wait(0.2)) == ["x.dng"]


def test_a_file_that_is_away_for_a_while_is_not_new_when_back():
    """A share that drops out must not bring the whole session again."""
    folder = Folder()
    folder.files["x.dng"] = file()
    assert len(folder.wait(1.0)) == 1
    del folder.files["x.dng"]
    folder.wait(5.0)
    folder.files["x.dng"] = file()
    assert folder.wait(5.0) == []


def test_files_there_at_the_start_are_skipped():
    """Unless they change: then they are new."""
    folder = Folder(**{"old.dng": file(), "half.dng": file(10)})
    assert folder.wait(5.0) == []
    folder.files["half.dng"] = file(100, 2)
    (arrival,) = folder.wait(1.0)
    assert arrival.capture.path == Path("half.dng")
    assert not arrival.early


def test_from_start_hands_on_what_is_there_in_order_of_time_and_name():
    """The oldest first, marked as early."""
    folder = Folder(
        from_start=True, **{"b.dng": file(mtime_ns=2), "c.dng": file(mtime_ns=1), "a.dng": file(mtime_ns=2)}
    )
    arrivals = folder.wait(1.0)
    assert names(arrivals) == ["c.dng", "a.dng", "b.dng"]
    assert all(arrival.early for arrival in arrivals)


def test_arrivals_are_numbered_in_order_whatever_the_clocks_say():
    """Neither file times nor a wall clock set back change the order of arrival."""
    folder = Folder()
    folder.files |= {"b.dng": file(mtime_ns=9), "c.dng": file(mtime_ns=8)}
    arrivals = folder.wait(1.0)
    folder.files["a.dng"] = file(mtime_ns=1)
    folder.now += 1.0
    arrivals += folder.arrivals.observe(dict(folder.files), folder.now, wall=-50.0)
    folder.now += 1.0
    arrivals += folder.arrivals.observe(dict(folder.files), folder.now, wall=-100.0)
    numbered = [(str(arrival.capture.path), arrival.capture.sequence) for arrival in arrivals]
    assert numbered == [("c.dng", 1), ("b.dng", 2), ("a.dng", 3)]


def test_an_empty_file_waits_longer_and_is_then_handed_on():
    """It may be a copy about to begin; if it stays empty, the user should hear of it."""
    folder = Folder()
    folder.files["x.dng"] = file(0)
    folder.look()
    assert folder.wait(2.9) == []
    assert [arrival.capture.size for arrival in folder.wait(0.3)] == [0]
    assert folder.wait(10.0) == []


def test_folders_and_dead_links_with_a_capture_name_are_handed_on_once():
    """They become one problem each."""
    folder = Folder()
    folder.files |= {"f.dng": Entry("folder"), "l.dng": Entry("link"), "o.dng": Entry("other")}
    assert names(folder.wait(10.0)) == ["f.dng", "l.dng", "o.dng"]


def test_raw_and_jpeg_together_are_one_frame():
    """The raw is handed on and names its JPEG, whose name may be in other letters; the JPEG adds nothing."""
    folder = Folder()
    folder.files |= {RAW: file(100), JPEG: file(50)}
    (arrival,) = folder.wait(10.0)
    assert arrival.capture.path == Path(RAW)
    assert arrival.capture.pair == Path(JPEG)
    assert arrival.spare is not None
    assert (arrival.spare.path, arrival.spare.size) == (Path(JPEG), 50)


def test_a_jpeg_after_its_raw_adds_no_frame():
    """Up to half a minute later."""
    folder = Folder()
    folder.files[RAW] = file()
    (arrival,) = folder.wait(1.0)
    assert arrival.capture.pair is None
    folder.wait(20.0)
    folder.files[JPEG] = file()
    assert folder.wait(10.0) == []


def test_a_jpeg_long_after_the_raw_of_its_name_is_handed_on_with_a_doubt():
    """The counter may have begun anew; so it may if the raw was there before us."""
    folder = Folder()
    folder.files[RAW] = file()
    folder.wait(31.0)
    folder.files[JPEG] = file()
    (late,) = folder.wait(1.0)
    folder.files[JPEG] = file(mtime_ns=2)
    (again,) = folder.wait(1.0)
    there_before = Folder(**{RAW: file()})
    there_before.files[JPEG] = file()
    (other,) = there_before.wait(1.0)
    for arrival in (late, again, other):
        assert (names([arrival]), arrival.beside) == ([JPEG], True)


def test_a_lone_jpeg_is_handed_on_at_once():
    """Where no pair was ever seen nothing is waited for."""
    folder = Folder()
    folder.files[JPEG] = file()
    folder.look()
    assert names(folder.wait(0.5)) == [JPEG]


def test_a_jpeg_waits_for_the_raw_that_is_still_being_copied():
    """The raw is there but grows: the pair becomes one frame."""
    folder = Folder()
    folder.files[JPEG] = file()
    for size in range(1, 10):
        folder.files[RAW] = file(size)
        assert folder.wait(0.2) == []
    (arrival,) = folder.wait(3.0)
    assert (arrival.capture.path, arrival.capture.pair) == (Path(RAW), Path(JPEG))


def test_a_jpeg_waits_two_seconds_at_most():
    """A raw that takes longer comes after it, names it as its pair and may replace its frame."""
    folder = Folder()
    folder.files[JPEG] = file()
    for size in range(1, 30):
        folder.files[RAW] = file(size)
        arrivals = folder.wait(0.1)
        if arrivals:
            break
    assert names(arrivals) == [JPEG]
    assert 2.3 <= folder.now <= 2.6
    (arrival,) = folder.wait(1.0)
    assert (arrival.capture.path, arrival.capture.pair) == (Path(RAW), Path(JPEG))


def test_once_pairs_are_known_a_jpeg_waits_for_a_raw_not_yet_seen():
    """And after one has waited in vain, the next does not."""
    folder = Folder(**{RAW: file(), JPEG: file()})
    folder.files["b.jpg"] = file()
    assert folder.wait(2.0) == []
    assert names(folder.wait(0.6)) == ["b.jpg"]
    folder.files["c.jpg"] = file()
    assert names(folder.wait(0.6)) == ["c.jpg"]


def test_a_raw_much_later_than_its_jpeg_is_a_frame_of_its_own():
    """After half a minute the name has been used for something else."""
    folder = Folder()
    folder.files[JPEG] = file()
    assert len(folder.wait(1.0)) == 1
    folder.wait(31.0, step=1.0)
    folder.files[RAW] = file()
    (arrival,) = folder.wait(1.0)
    assert arrival.capture.pair is None
    assert arrival.spare is None


def test_two_raws_or_two_folders_are_no_pair():
    """Only exactly one raw and one picture in the same folder belong together."""
    folder = Folder()
    other = str(Path("out", "a_1.jpg"))
    folder.files |= {"a.dng": file(), "a.cr3": file(), "a.jpg": file(), RAW: file(), other: file()}
    arrivals = folder.wait(5.0)
    assert sorted(names(arrivals)) == sorted(folder.files)
    assert all(arrival.capture.pair is None for arrival in arrivals)


def test_a_pair_written_again_is_one_new_frame():
    """Same names, new content, JPEG first: still one frame."""
    folder = Folder()
    folder.files |= {RAW: file(), JPEG: file()}
    assert len(folder.wait(3.0)) == 1
    folder.files[JPEG] = file(mtime_ns=2)
    folder.wait(0.2)
    folder.files[RAW] = file(mtime_ns=2)
    (arrival,) = folder.wait(5.0)
    assert (arrival.capture.path, arrival.capture.mtime_ns, arrival.capture.pair) == (Path(RAW), 2, Path(JPEG))


def test_the_next_due_time_is_when_something_settles():
    """A look then brings it, even if nobody tells of a change; nothing is due when all is handed on."""
    folder = Folder(**{RAW: file(), JPEG: file()})
    assert folder.arrivals.next_due(folder.now) is None
    folder.files["b.jpg"] = file()
    folder.look()
    assert folder.arrivals.next_due(0.0) == 0.4
    folder.now = 0.4
    assert folder.look() == []
    assert folder.arrivals.next_due(folder.now) == 2.4
    folder.now = 2.4
    assert names(folder.look()) == ["b.jpg"]
    assert folder.arrivals.next_due(folder.now) is None


SHOTS = st.sampled_from(["a.dng", "b.dng", "c.dng", "c.jpg", "d.jpg"])
ACTIONS = st.lists(
    st.one_of(
        st.tuples(st.just("write"), SHOTS, st.integers(1, 5)),
        st.tuples(st.just("delete"), SHOTS, st.just(0)),
        st.tuples(st.just("wait"), st.just(""), st.integers(1, 12)),
    ),
    max_size=40,
)


@given(ACTIONS)
def test_whatever_happens_each_content_is_handed_on_once_and_only_when_steady(actions):
    """Random writing, deleting and waiting: nothing comes early, nothing twice, nothing complete is lost."""
    folder = Folder()
    changed: dict[str, float] = {}
    arrived: list[Arrival] = []
    stamp = 1

    def take(new: list[Arrival]) -> None:
        for arrival in new:
            name = str(arrival.capture.path)
            assert folder.now - changed[name] >= PATIENCE.settle_s - 1e-9
            assert folder.files[name] == file(arrival.capture.size, arrival.capture.mtime_ns)
        arrived.extend(new)

    for action, name, number in actions:
        if action == "write":
            stamp += 1
            folder.files[name] = file(number, stamp)
            changed[name] = folder.now
        elif action == "delete":
            folder.files.pop(name, None)
        else:
            for _ in range(number):
                folder.now += 0.1
                take(folder.look())
    for _ in range(40):
        folder.now += 0.1
        take(folder.look())

    handed = [(str(arrival.capture.path), arrival.capture.mtime_ns) for arrival in arrived]
    assert len(handed) == len(set(handed))
    for name, entry in folder.files.items():
        if name != "c.jpg":  # the JPEG of a pair may be covered by its raw
            assert handed.count((name, entry.mtime_ns)) == 1
    assert folder.arrivals.unsettled == 0


@given(st.integers(0, 30), st.integers(0, 30), st.booleans())
def test_a_pair_is_one_frame_whichever_half_comes_first(raw_at, jpeg_at, known):
    """Up to three seconds apart: the raw always comes, names a JPEG that was there, and a JPEG never comes after it."""
    folder = Folder(**({"z.dng": file(), "z.jpg": file()} if known else {}))
    arrived: list[Arrival] = []
    for tick in range(80):
        if tick == raw_at:
            folder.files[RAW] = file()
        if tick == jpeg_at:
            folder.files[JPEG] = file()
        arrived += folder.wait(0.1)
    handed = names(arrived)
    assert handed.count(RAW) == 1
    assert handed.count(JPEG) <= 1
    assert handed[-1] == RAW
    if known and raw_at - jpeg_at < 19:
        assert handed == [RAW]
    if jpeg_at <= raw_at:
        assert arrived[-1].capture.pair == Path(JPEG)
