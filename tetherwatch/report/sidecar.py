"""XMP beside the captures (ISO 16684-1): a rating and a label for what should not be delivered unseen.

Only on request. A sidecar that is there, ours or another program's, is left as it is; captures are not touched.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal
from xml.sax.saxutils import escape

from tetherwatch.report.records import FrameEntry

Fate = Literal["written", "there already", "capture gone", "not writable"]

REJECTED = -1
"""xmp:Rating of what its user has set aside (ISO 16684-1; 0 is unrated, 1 to 5 are stars)."""

_PACKET = """\
<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
{properties}
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>
"""
"""The wrapper and names are those of the standard."""


@dataclass(frozen=True, slots=True)
class Mark:
    """What a sidecar says; `rating` None: nothing of a rating."""

    label: str
    rating: int | None = None


def mark_of(frame: FrameEntry) -> Mark | None:
    """What is to be said of a frame: a misfire is rejected, clipping only labelled; None of a good one."""
    if frame.misfired:
        return Mark("Misfire", REJECTED)
    return Mark("Clipped") if frame.clipped else None


def packet(mark: Mark) -> str:
    """An XMP packet that says it."""
    properties = [] if mark.rating is None else [f"   <xmp:Rating>{mark.rating}</xmp:Rating>"]
    properties.append(f"   <xmp:Label>{escape(mark.label)}</xmp:Label>")
    return _PACKET.format(properties="\n".join(properties))


def write_sidecars(frames: Iterable[FrameEntry]) -> Iterator[tuple[Path, Fate]]:
    """Write a sidecar for each frame that has a mark, and tell of each what became of it."""
    for frame in frames:
        mark = mark_of(frame)
        if mark is not None:
            path = frame.path.with_suffix(".xmp")
            yield path, _write(path, frame, mark)


def _write(path: Path, frame: FrameEntry, mark: Mark) -> Fate:
    if not frame.path.is_file():
        return "capture gone"
    if path.with_suffix(".XMP").exists():
        return "there already"
    try:
        file = path.open("xb")
    except FileExistsError:
        return "there already"
    except OSError:
        return "not writable"
    try:
        with file:
            file.write(packet(mark).encode())
    except OSError:  # no room: half of one would pass for a whole one
        path.unlink()
        return "not writable"
    return "written"
