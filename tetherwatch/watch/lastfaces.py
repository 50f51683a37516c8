"""Where faces were found in the last frames, for a frame in which none is."""

from dataclasses import replace

from tetherwatch.meter.records import Aim, LastFace
from tetherwatch.watch.task import Read

FRAMES = 5
"""So many frames after a face was found its place is still metered (judgement)."""

_REMEMBERED = 4 * FRAMES
"""More than `FRAMES`, because a backlog is worked off behind the newest."""


class LastFaces:
    """Remembers by rank, the order of arrival, because frames are read in any order."""

    def __init__(self) -> None:
        self._found: dict[int, LastFace] = {}

    def note(self, rank: int, read: Read) -> None:
        """Remember the face that was metered in the capture of this rank, if there was one."""
        self._found.pop(rank, None)
        if read.reading.face is not None:
            serial, orientation = read.metadata.serial, read.metadata.orientation
            self._found[rank] = LastFace(read.reading.face, 0, serial, orientation)
        if len(self._found) > _REMEMBERED:
            del self._found[next(iter(self._found))]

    def aim(self, aim: Aim, rank: int) -> Aim:
        """The aim for the capture of this rank: with the last face found before it, if that is what it asks for."""
        before = [other for other in self._found if rank - FRAMES <= other < rank]
        if aim.area != "face" or not before:
            return aim
        return replace(aim, last=replace(self._found[max(before)], ago=rank - max(before)))
