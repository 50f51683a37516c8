"""What the dashboard asks of a running session; the command line provides it."""

from typing import Protocol

from tetherwatch.exposure.stops import Setting
from tetherwatch.session.records import SessionView


class SessionSource(Protocol):
    """A session as the dashboard sees it. No method may block; any may raise TetherwatchError."""

    def view(self) -> SessionView:
        """The session at this moment."""
        ...

    def poll(self) -> bool:
        """Take in what has happened; True if `view` changed. Called about twenty times a second."""
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

    def close(self) -> None:
        """Stop watching."""
        ...
