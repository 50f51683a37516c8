"""Which of the known bodies a capture was taken with."""

from collections.abc import Iterable
from dataclasses import dataclass

from tetherwatch.body.records import Body


@dataclass(frozen=True, slots=True)
class Found:
    """The body of a capture. `by` says how it was found, or why there is none."""

    body: Body | None
    by: str


@dataclass(frozen=True, slots=True)
class Bodies:
    """The profiles that captures may have been taken with; `preferred` names the one to take wherever it fits."""

    known: tuple[Body, ...] = ()
    preferred: str | None = None

    @property
    def chosen(self) -> Body | None:
        """The preferred body itself."""
        return next((body for body in self.known if body.name == self.preferred), None)

    def of(self, camera: str | None, serial: str | None) -> Found:
        """The body of a capture that says it is from this camera; None is what it does not say.

        The preferred one, if it fits. Otherwise the one of this camera and serial; or the only one of this camera,
        where the capture or the profile has no serial.
        """
        fitting = [body for body in self.known if _fits(body, camera, serial)]
        if self.chosen is not None and (self.chosen in fitting or camera is None):
            return Found(self.chosen, "as chosen")
        for body in fitting:
            if body.serial is not None and body.serial == serial:
                return Found(body, "by camera and serial")
        if len(fitting) == 1:
            return Found(fitting[0], "by camera alone")
        return Found(None, "several profiles fit this camera" if fitting else "no profile of this camera")


def _fits(body: Body, camera: str | None, serial: str | None) -> bool:
    return body.camera == camera and (body.serial == serial or None in (body.serial, serial))


NO_BODIES = Bodies()


def fresh(bodies: Iterable[Body], kept: Body | None) -> tuple[Body, ...]:
    """All of `bodies`, and `kept` if none of them has its name any more."""
    known = tuple(bodies)
    gone = kept is not None and all(body.name != kept.name for body in known)
    return (*known, kept) if kept is not None and gone else known
