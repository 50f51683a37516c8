"""What the watch hands on, invented for the tests of the session."""

from dataclasses import replace
from pathlib import Path

from advise_records import GOOD, reading

from tetherwatch.advise.planfile import parse_plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Box, Reading, Thumbnail
from tetherwatch.watch.records import Capture, Metered

FOLDER = Path("/shoots/2031/Ines Okafor")
PLAN = parse_plan(GOOD, "mine.toml", 3200.0)
FLASH = replace(PLAN, light="flash")
SETTINGS = Settings(2.0**-8, 2.0**1.5, 400.0)
THUMBNAIL = Thumbnail(1, 1, b"\0\0\0", b"\0", Box(0.4, 0.4, 0.6, 0.6))


def metered(
    name: str,
    offset: float = 0.0,
    *,
    at: float = 0.0,
    pair: str | None = None,
    settings: Settings = SETTINGS,
    light_value: float | None = 7.0,
    replaces: bool = False,
    measured: Reading | None = None,
    metadata: Metadata | None = None,
) -> Metered:
    """One metered capture of the folder that arrived at `at` seconds."""
    return Metered(
        capture=Capture(FOLDER / name, 50_000_000, 1, at, None if pair is None else FOLDER / pair),
        metadata=metadata or Metadata(settings=settings, camera="Halden K2", serial="77"),
        reading=measured or reading(offset, light_value=light_value),
        thumbnail=THUMBNAIL,
        notes=("read from the embedded preview",) if replaces else (),
        replaces=replaces,
    )
