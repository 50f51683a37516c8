"""The whole watch in a made-up world: random arrivals and faults under a clock, a disk and a decoder of our own."""

import errno
import heapq
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from hashlib import blake2b
from itertools import count, pairwise
from pathlib import Path
from queue import Empty
from threading import Event

import worker_stubs
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import Fault
from tetherwatch.meter.records import Aim
from tetherwatch.watch.ledger import Identity, Remembered, identity
from tetherwatch.watch.listing import Entry
from tetherwatch.watch.pipeline import Watcher
from tetherwatch.watch.records import Capture, FirstLook, Health, Metered, Problem, WatchEvent
from tetherwatch.watch.task import Failure, Outcome
from tetherwatch.watch.workers import Begun, Done

FOLDER = Path("captures")
NAMES = ("a.dng", "b.dng", "c.cr3", "d.jpg", "e.tif", "f.nef")
ONE_LOOK_S = 1.0 + 2 * 0.4
"""What lands within one look and its settling may be told apart by file times only, which jump with the clock."""

KINDS = st.sampled_from(["good", "good", "slow", "slow", "crash", "hang"])
QUIET_S = 40.0
"""Longer than anything here takes: settling, grace, a hung decoder."""


@dataclass(frozen=True)
class Content:
    """What a file holds: which shot, and how that fares in the decoder."""

    shot: int
    kind: str
    size: int = 1000

    @property
    def mark(self) -> bytes:
        """Its fingerprint."""
        return blake2b(repr(self).encode(), digest_size=16).digest()


@dataclass(frozen=True)
class File:
    """A content at a time, in nanoseconds of the wall clock."""

    content: Content
    mtime_ns: int


class World:
    """Clocks, a disk and what is going to happen; time passes only when the watch sleeps."""

    def __init__(self) -> None:
        self.now, self.wall_shift = 0.0, 1_000_000.0
        self.files: dict[Path, File] = {}
        self.device: int | None = 1
        self.readable = True
        self.open = True
        self.later: list[tuple[float, int, Callable[[], None]]] = []
        self.ticket = count()

    def wall(self) -> float:
        """The wall clock, which may jump."""
        return self.now + self.wall_shift

    def at(self, seconds: float, action: Callable[[], None]) -> None:
        """Have something happen later."""
        heapq.heappush(self.later, (self.now + seconds, next(self.ticket), action))

    def write(self, path: Path, content: Content) -> None:
        """Fill a file now; every moment differs from the one before, as on a real disk."""
        self.files[path] = File(content, int(self.wall() * 1e9) + next(self.ticket))

    def identity(self) -> tuple[int, int]:
        """See `Disk`."""
        if self.device is None:
            raise FileNotFoundError(errno.ENOENT, "away")
        return self.device, 1

    def listing(self) -> dict[str, Entry]:
        """See `Disk`."""
        self.identity()
        if not self.readable:
            raise PermissionError(errno.EACCES, "closed")
        return {str(path): Entry("file", file.content.size, file.mtime_ns) for path, file in self.files.items()}

    def entry(self, path: Path) -> Entry | None:
        """See `Disk`."""
        file = self.files.get(path) if self.device is not None else None
        return None if file is None else Entry("file", file.content.size, file.mtime_ns)

    def fingerprint(self, path: Path) -> bytes | None:
        """See `Disk`."""
        file = self.files.get(path) if self.device is not None and self.readable and self.open else None
        return None if file is None else file.content.mark

    def reports_changes(self, folder: Path) -> bool:
        """Never: events are hints, and here there are none."""
        return False


class Inbox:
    """A queue whose waiting is what makes time pass."""

    def __init__(self, world: World) -> None:
        self._world, self._messages = world, []

    def put(self, message) -> None:
        """Add a message."""
        self._messages.append(message)

    def get_nowait(self):
        """The next message."""
        if not self._messages:
            raise Empty
        return self._messages.pop(0)

    def get(self, *, timeout: float):
        """Let things happen until there is a message or the time is up."""
        world = self._world
        end = world.now + max(timeout, 1e-6)
        while not self._messages and world.later and world.later[0][0] <= end:
            world.now, _, action = heapq.heappop(world.later)
            action()
        if not self._messages:
            world.now = end
        return self.get_nowait()


class Decoder:
    """Two workers that take their time and fail as the content has it. They look at the file when they begin."""

    def __init__(self, world: World) -> None:
        self.world, self.free = world, 2

    def __enter__(self) -> "Decoder":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def start(self, path: Path, aim: Aim, step: Step, done: Done, begun: Begun = lambda: None) -> None:
        """Begin."""
        self.free -= 1
        begun()
        file = self.world.files.get(path) if self.world.device is not None else None
        outcome, takes = self._outcome(file, aim)
        self.world.at(takes, lambda: self._end(done, outcome))

    def _end(self, done: Done, outcome: Outcome) -> None:
        self.free += 1
        done(outcome)

    def _outcome(self, file: File | None, aim: Aim) -> tuple[Outcome, float]:
        if file is None:
            return Failure(Fault.VANISHED), 0.01
        if not (self.world.readable and self.world.open):
            return Failure(Fault.NO_ACCESS), 0.01
        kind = file.content.kind
        faults = {"part": (Fault.CUT_SHORT, 0.1), "crash": (Fault.CRASHED, 1.0), "hang": (Fault.TOO_SLOW, 20.0)}
        if kind in faults:
            fault, takes = faults[kind]
            return Failure(fault), takes
        return worker_stubs.read_of(aim, notes=(str(file.content.shot),)), {"good": 0.3, "slow": 3.0}[kind]


class Previewer(Decoder):
    """One worker that looks at previews, quickly; those of half-written files may be there in full."""

    def __init__(self, world: World) -> None:
        super().__init__(world)
        self.free = 1

    def _outcome(self, file: File | None, aim: Aim) -> tuple[Outcome, float]:
        if file is None or not (self.world.readable and self.world.open):
            return Failure(Fault.VANISHED), 0.01
        return worker_stubs.read_of(aim, notes=(str(file.content.shot),)), 0.05


@dataclass
class Book:
    """What outlives a watch: written as events are taken, so a crash loses what was not taken yet."""

    past: Remembered = field(default_factory=Remembered)
    done: dict[str, Entry] = field(default_factory=dict)
    given: dict[Identity, bytes | None] = field(default_factory=dict)
    sequence: int = 0
    begun: dict[tuple[str, int, int], Capture] = field(default_factory=dict)

    def remembered(self) -> Remembered:
        """As it was reopened."""
        return self.past

    def looked(self, skipped) -> None:
        """Nothing is skipped here."""
        assert skipped == {}

    def allows(self, capture: Capture) -> bool:
        """Nothing is set aside here."""
        return True

    def began(self, capture: Capture) -> None:
        """An attempt."""
        self.begun[identity(capture)] = capture

    def ended(self, capture: Capture, fault: Fault | None) -> None:
        """Its end."""
        self.begun.pop(identity(capture), None)

    def recognised(self, capture: Capture) -> None:
        """The same content elsewhere."""
        self._note(capture)

    def take(self, event: WatchEvent) -> None:
        """Write an event down."""
        if isinstance(event, Metered):
            self._note(event.capture)

    def _note(self, capture: Capture) -> None:
        self.done[str(capture.path)] = Entry("file", capture.size, capture.mtime_ns)
        self.given[identity(capture)] = capture.fingerprint
        self.sequence = max(self.sequence, capture.sequence)

    def reopened(self) -> "Book":
        """The book as the next watch finds it."""
        past = Remembered(
            known=dict(self.done),
            given=dict(self.given),
            doubtful=frozenset(self.begun),
            sequence=self.sequence,
        )
        return replace(self, past=past, begun={})


class Shoot(RuleBasedStateMachine):
    """Everything that may happen in a capture folder, in any order."""

    @initialize()
    def begin(self) -> None:
        """An empty folder and a watch."""
        self.world, self.book, self.shots = World(), Book(), count(1)
        self.events: list[WatchEvent] = []
        self.partial: dict[Path, Content] = {}
        self.landed: dict[int, float] = {}
        self.calm = True
        self._start()

    def _start(self) -> None:
        self.watcher = Watcher(
            FOLDER,
            Aim(),
            Step.THIRD,
            from_start=True,
            clock=lambda: self.world.now,
            wall=self.world.wall,
            disk=self.world,
            inbox=Inbox(self.world),
            reader=Decoder(self.world),
            looker=Previewer(self.world),
            ledger=self.book,
        )
        self.running = self.watcher.events(Event())

    def _run(self, seconds: float) -> None:
        end = self.world.now + seconds
        while self.world.now < end:
            event = next(self.running)
            if isinstance(event, FirstLook):
                given = {(frame.capture.path, frame.capture.mtime_ns) for frame in self._frames()}
                assert (event.capture.path, event.capture.mtime_ns) not in given, event
            self.events.append(event)
            self.book.take(event)

    @rule(name=st.sampled_from(NAMES), kind=KINDS, seconds=st.sampled_from([0.0, 0.1, 1.2, 5.0]))
    def shoot(self, name: str, kind: str, seconds: float) -> None:
        """A capture lands, in the place of an older one if the counter starts anew."""
        self._land(FOLDER / name, kind)
        self._run(seconds)

    @rule(names=st.permutations(NAMES))
    def burst(self, names: list[str]) -> None:
        """Many land at once."""
        for name in names:
            self._land(FOLDER / name, "good")

    def _land(self, path: Path, kind: str) -> None:
        content = Content(next(self.shots), kind)
        self.landed[content.shot] = self.world.now
        self.partial.pop(path, None)
        self.world.write(path, content)

    @rule(name=st.sampled_from(NAMES), size=st.sampled_from([400, 1000]))
    def begin_copy(self, name: str, size: int) -> None:
        """Half a file lands; some programs give it its full size at once."""
        path, shot = FOLDER / name, next(self.shots)
        self.partial[path] = Content(shot, "good")
        self.world.write(path, Content(shot, "part", size))

    @precondition(lambda self: self.partial)
    @rule(data=st.data())
    def end_copy(self, data) -> None:
        """The rest of it."""
        path = data.draw(st.sampled_from(sorted(self.partial)))
        content = self.partial.pop(path)
        self.landed[content.shot] = self.world.now
        self.world.write(path, content)

    @precondition(lambda self: self.world.files)
    @rule(data=st.data())
    def touch(self, data) -> None:
        """A new time, the same content."""
        path = data.draw(st.sampled_from(sorted(self.world.files)))
        self.calm = False
        self.world.write(path, self.world.files[path].content)

    @precondition(lambda self: self.world.files)
    @rule(data=st.data(), name=st.sampled_from([*NAMES, "r1.dng", "r2.dng"]))
    def rename(self, data, name: str) -> None:
        """Another name, over whatever has it."""
        old, new = data.draw(st.sampled_from(sorted(self.world.files))), FOLDER / name
        self.calm = False
        if old != new:
            self.world.files[new] = self.world.files.pop(old)
            self.partial.pop(new, None)
            if old in self.partial:
                self.partial[new] = self.partial.pop(old)

    @precondition(lambda self: self.world.files)
    @rule(data=st.data())
    def delete(self, data) -> None:
        """Gone."""
        path = data.draw(st.sampled_from(sorted(self.world.files)))
        del self.world.files[path]
        self.partial.pop(path, None)

    @rule(seconds=st.sampled_from([0.3, 1.0, 1.5, 2.0, 2.5]))
    def wait(self, seconds: float) -> None:
        """Time passes: less than it takes to settle, or until something is being read."""
        self._run(seconds)

    @rule(seconds=st.sampled_from([4.0, 8.0, 25.0]))
    def wait_long(self, seconds: float) -> None:
        """Time passes until most has been read."""
        self._run(seconds)

    @rule(seconds=st.sampled_from([-1e6, -3600.0, 3600.0, 1e6]))
    def set_clock(self, seconds: float) -> None:
        """The wall clock jumps, and with it the times of files."""
        self.world.wall_shift += seconds

    @rule(seconds=st.sampled_from([0.2, 1.5, 10.0]), back=st.sampled_from([1, 2]))
    def pull_folder(self, seconds: float, back: int) -> None:
        """The folder goes away for a while; it comes back, or another disk lies in its place."""
        self.calm = False
        self.world.device = None
        self.world.at(seconds, lambda: setattr(self.world, "device", back))

    @rule(seconds=st.sampled_from([0.2, 1.5, 10.0]))
    def forbid_reading(self, seconds: float) -> None:
        """The permission to read is lost for a while."""
        self.calm = False
        self.world.readable = False
        self.world.at(seconds, lambda: setattr(self.world, "readable", True))

    @rule(seconds=st.sampled_from([0.2, 1.5, 10.0, 30.0]))
    def forbid_opening(self, seconds: float) -> None:
        """The captures are still listed, but for a while none can be opened."""
        self.calm = False
        self.world.open = False
        self.world.at(seconds, lambda: setattr(self.world, "open", True))

    @rule(stops=st.sampled_from([0.0, 1.0]))
    def aim(self, stops: float) -> None:
        """The user chooses another aim."""
        self.watcher.use(Aim(from_grey_stops=stops), Step.THIRD)

    @precondition(lambda self: self.world.device is not None and self.world.readable)
    @rule(politely=st.booleans())
    def restart(self, politely: bool) -> None:
        """The daemon dies, or ends, and is started again."""
        self.calm = False
        if politely:
            self.watcher.close()
            with suppress(StopIteration):
                while True:
                    event = next(self.running)
                    self.events.append(event)
                    self.book.take(event)
        self.book = self.book.reopened()
        self._start()

    @invariant()
    def what_was_given_is_sound(self) -> None:
        """No shot is a new frame twice, none that is not whole is one at all, and numbers grow with arrival."""
        frames = self._frames()
        shots = [int(frame.notes[0]) for frame in frames]
        assert len(shots) == len(set(shots)), shots
        sequences = [frame.capture.sequence for frame in frames]
        assert len(sequences) == len(set(sequences)), sequences
        if self.calm:
            arrived = sorted(frames, key=lambda frame: frame.capture.sequence)
            landed = [self.landed[int(frame.notes[0])] for frame in arrived]
            assert all(one <= next_ + ONE_LOOK_S for one, next_ in pairwise(landed)), landed

    def teardown(self) -> None:
        """In the end everything that lies there whole has been given once, and what fails has been told."""
        if not hasattr(self, "world"):
            return
        self._run(QUIET_S * (1 + len(self.world.files)))
        self.what_was_given_is_sound()
        given = {int(frame.notes[0]) for frame in self._frames()}
        told = {event.path for event in self.events if isinstance(event, Problem)}
        for path, file in self.world.files.items():
            if file.content.kind in ("good", "slow"):
                assert file.content.shot in given or self._is_excused(path), (path, file)
            else:
                assert path in told, (path, file)
        health = next(event for event in reversed(self.events) if isinstance(event, Health))
        assert (health.here, health.backlog) == (True, 0)
        assert self.book.begun == {}

    def _is_excused(self, path: Path) -> bool:
        """Whether a capture need not be read."""
        return False

    def _frames(self) -> list[Metered]:
        return [event for event in self.events if isinstance(event, Metered) and not event.replaces]


Shoot.TestCase.settings = settings(max_examples=200, stateful_step_count=40, deadline=None)
TestShoot = Shoot.TestCase


class Chosen:
    """Draws what was chosen before."""

    def __init__(self, name: str) -> None:
        self.path = FOLDER / name

    def draw(self, _: object) -> Path:
        """Always the same."""
        return self.path


def test_a_capture_renamed_while_another_folder_lies_in_its_place_is_no_new_frame() -> None:
    """What is not seen under its old name may have gone with the folder, which must be looked at before it is read."""
    shoot = Shoot()
    shoot.begin()
    shoot.aim(stops=1.0)
    shoot.forbid_reading(seconds=0.2)
    shoot.begin_copy(name="a.dng", size=400)
    shoot.shoot(kind="good", name="c.cr3", seconds=1.2)
    shoot.aim(stops=0.0)
    shoot.begin_copy(name="a.dng", size=400)
    shoot.pull_folder(back=1, seconds=1.5)
    shoot.pull_folder(back=2, seconds=0.2)
    shoot.rename(Chosen("a.dng"), name="d.jpg")
    shoot.rename(Chosen("c.cr3"), name="a.dng")
    shoot.shoot(kind="good", name="b.dng", seconds=5.0)
    shoot.teardown()
