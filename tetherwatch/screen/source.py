"""What the dashboard asks of a running session; the command line provides it."""

from collections.abc import Callable
from typing import Protocol

from tetherwatch.advise.whatif import Tried
from tetherwatch.exposure.stops import Setting
from tetherwatch.session.records import SessionView
from tetherwatch.setups.records import Placement


class SessionSource(Protocol):
    """A session as the dashboard sees it. No method may block; any may raise TetherwatchError."""

    def view(self) -> SessionView:
        """The session at this moment."""
        ...

    def listen(self, wake: Callable[[], object]) -> None:
        """Begin; call `wake`, in any thread, whenever there is something to poll."""
        ...

    def poll(self) -> bool:
        """Take in what has happened; True if `view` changed."""
        ...

    def plans(self) -> tuple[str, ...]:
        """Names of the plans that can be chosen."""
        ...

    def use_plan(self, name: str) -> None:
        """Go on under another plan."""
        ...

    def toggle_lock(self, setting: Setting) -> None:
        """Lock a setting where it stands for this session, or undo that."""
        ...

    def toggle_card(self, number: int | None) -> Placement | None:
        """Let the grey card in a frame, or in the newest, place the faces of its setup, or no longer (None)."""
        ...

    def next_face(self) -> bool:
        """Meter another face than now; False where the newest frame shows no other."""
        ...

    def tried(self, setting: Setting, stops: float) -> Tried | None:
        """What the newest frame would read with a setting moved by `stops`; None before the first frame.

        Raises UsageError where the capture does not say where that setting stands.
        """
        ...

    def toggle_pin(self, number: int | None) -> bool:
        """Pin a frame in its setup, or the newest, or take the pin from it; True if it is pinned now."""
        ...

    def rename_setup(self, number: int, name: str) -> None:
        """Name a setup; an empty name takes it away."""
        ...

    def merge_setup(self, number: int) -> int:
        """Make one setup of this one and the one before it; returns that."""
        ...

    def split_setup(self) -> int:
        """Begin a new setup with the newest frame; returns it."""
        ...

    def close(self) -> None:
        """Stop watching."""
        ...
