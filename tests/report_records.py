"""Sessions for the tests of the record: written by the journal, with frames to order."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from advise_records import reading
from journal_records import CHOSEN, Program, program

from tetherwatch.advise.landing import Landing
from tetherwatch.advise.records import Call, Finding, Predicted
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import CENTRE_BOX, Thumbnail
from tetherwatch.report.records import FrameEntry, Measured, SessionRecord
from tetherwatch.session.records import FrameRecord
from tetherwatch.watch.records import Capture

NOON = datetime(2031, 3, 4, 12, 0)
SETTINGS = Settings(2.0**-8, 2.0**1.5, 400.0)
HOLD = Call("hold", "The card is right to within 0.17 stops.")
BRIGHTER = Call("brighter", "The card is too dark.", Setting.ISO, "400", "800", 1.0, 0.0, Predicted(-0.02, 0.1))
MISFIRE = Call("check", "5.00 stops of light are gone: the flash did not fire.", odd="gone")
CARD = Call("check", "The picture is one even tone.", odd="card")
LANDED = Landing(Setting.ISO, 1.0, -0.02, 0.01, 0.03, 1.03)
SOFT = Finding("eyes", "the left eye is not sharp")

NASTY = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'; DROP TABLE frames; --",
    '=HYPERLINK("http://example.invalid")',
    "+1+1|' /C calc'!A0",
    "@SUM(1)",
    "\t=1+1",
    "]]></svg><script>alert(1)</script>",
    "--><script>alert(1)</script>",
    "$\\frac{1}$",
    "{{ 7 * 7 }}{% raw %}",
    "\x1b[31mred\x07\r\n",
    "\u202egnp.exe",
    "&lt;b&gt; &amp;",
    "\udcff\udcfe",
)
"""Names that would do harm where they are taken for anything but text."""


def picture(grey: int = 90) -> Thumbnail:
    """An even picture."""
    return Thumbnail(12, 8, bytes([grey]) * (12 * 8 * 3), bytes(12 * 8), CENTRE_BOX)


def frame(
    number: int,
    offset: float = 0.0,
    call: Call = HOLD,
    *,
    name: str | None = None,
    folder: Path = Path("/shoots/spring"),
    clipped: float = 0.0,
    **changes: object,
) -> FrameRecord:
    """A frame as a session hands it on."""
    made = FrameRecord(
        number=number,
        capture=Capture(folder / (name or f"F_{number:04}.DNG"), 50_000_000, number, 1e9 + 4 * number, sequence=number),
        metadata=Metadata(
            settings=SETTINGS, camera="Halden K2", serial="77", captured_at=NOON + timedelta(seconds=4 * number)
        ),
        reading=replace(reading(offset), area_clipped_percent=clipped),
        thumbnail=picture(),
        call=call,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def entry(number: int, offset: float = 0.0, call: Call = HOLD, **options: object) -> FrameEntry:
    """The same frame as the record tells it."""
    setup = options.pop("setup", None)
    made = frame(number, offset, call, **options)  # type: ignore[arg-type]
    whole = made.reading
    measured = Measured(**{name: getattr(whole, name) for name in Measured.__slots__})
    return FrameEntry(
        number=number,
        path=made.capture.path,
        pair=made.capture.pair,
        arrived_at=made.capture.arrived_at,
        metadata=made.metadata,
        measured=measured,
        call=made.call,
        plan=CHOSEN.plan,
        findings=made.findings,
        landing=made.landing,
        notes=made.notes,
        setup=setup,  # type: ignore[arg-type]
    )


def record(*frames: FrameEntry, folder: Path = Path("/shoots/spring"), **parts: object) -> SessionRecord:
    """A session of these frames."""
    return SessionRecord(
        path=Path("/data/spring.session"),
        folder=folder,
        began_at=1.9e9,
        runs=(),
        plans=(CHOSEN.plan,),
        frames=frames,
        problems=(),
        **parts,  # type: ignore[arg-type]
    )


def keep(path: Path, folder: Path, frames: Sequence[FrameRecord]) -> None:
    """Write a session that ended well."""
    with program(path, folder) as running:
        write(running, frames)


def write(running: Program, frames: Sequence[FrameRecord]) -> None:
    """Write frames into a session that is open."""
    running.recorder.note(*frames)
