"""First looks of a session: each is corrected by what earlier ones of the same rendering turned out to be."""

from pathlib import Path

from tetherwatch.frame.records import Metadata
from tetherwatch.meter.firstlook import Look, corrected, with_look
from tetherwatch.meter.records import Reading
from tetherwatch.watch.records import FirstLook, Metered

_KEPT = 16
"""First looks whose exact reading may still come."""

Rendering = tuple[str | None, str | None, str | None]
"""Camera, serial number and style."""


class FirstLooks:
    """What the previews of a session taught so far."""

    def __init__(self) -> None:
        self._learned: dict[Rendering, tuple[Look, ...]] = {}
        self._open: dict[Path, Reading] = {}

    def corrected(self, look: FirstLook) -> Reading:
        """The provisional reading of a first look, whose exact one is awaited from now on.

        That of a JPEG is of the JPEG itself, decoded smaller, and needs no correction.
        """
        if look.reading.source == "jpeg":
            return look.reading
        self._open[look.capture.path] = look.reading
        if len(self._open) > _KEPT:
            del self._open[next(iter(self._open))]
        return corrected(look.reading, self._learned.get(_rendering(look.metadata), ()))

    def learn(self, event: Metered) -> None:
        """Take in the exact reading of a capture that was looked at before."""
        preview = self._open.pop(event.capture.path, None)
        if preview is None or event.reading.source == "preview" or preview.area != event.reading.area:
            return
        rendering = _rendering(event.metadata)
        self._learned[rendering] = with_look(self._learned.get(rendering, ()), preview, event.reading)


def _rendering(metadata: Metadata) -> Rendering:
    return metadata.camera, metadata.serial, metadata.style
