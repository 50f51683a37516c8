"""A ladder as JSON objects with stable names. Absent values are null; ISO values are the dial's exact ones.

File names are those inside the ladder's folder.
"""

from collections.abc import Iterator
from typing import Any

from tetherwatch.ladder.records import Ceiling, Figure, Finding, Ladder, Rung

Event = dict[str, Any]

_FIGURES = (
    "gain_dn_per_e",
    "read_noise_dn",
    "read_noise_e",
    "saturation_e",
    "dynamic_range_stops",
    "snr_grey",
    "snr_grey_viewing",
    "snr_shadow",
    "snr_shadow_viewing",
    "snr_grey_colour",
    "row_noise_dn",
    "column_noise_dn",
    "detail_kept",
)


def ladder_events(ladder: Ladder) -> Iterator[Event]:
    """What was found about the whole ladder, then its rungs from low to high ISO, then the ceiling."""
    for finding in (*ladder.refused, *ladder.warnings):
        yield {"event": "finding", **_finding(finding)}
    for rung in ladder.rungs:
        yield _rung(rung)
    if ladder.ceiling is not None:
        yield _ceiling(ladder.ceiling)


def _finding(finding: Finding) -> Event:
    return {
        "kind": finding.kind,
        "iso": finding.iso,
        "file": None if finding.file is None else finding.file.name,
        "refuses": finding.refuses,
        "reason": finding.reason,
    }


def _rung(rung: Rung) -> Event:
    """Each figure under its name, and its standard uncertainty under `uncertainty`."""
    figures: dict[str, Figure | None] = {name: getattr(rung, name) for name in _FIGURES}
    return {
        "event": "rung",
        "iso": rung.iso,
        "frames": rung.frames,
        "files": [path.name for path in rung.files],
        "method": rung.method,
        **{name: None if figure is None else figure.value for name, figure in figures.items()},
        "saturation_dn": rung.saturation_dn,
        "mismatch_stops": rung.mismatch_stops,
        "compensated_stops": rung.compensated_stops,
        "clipped_percent": rung.clipped_percent,
        "uncertainty": {name: None if figure is None else figure.uncertainty for name, figure in figures.items()},
        "warnings": [_finding(finding) for finding in rung.warnings],
    }


def _ceiling(ceiling: Ceiling) -> Event:
    return {
        "event": "ceiling",
        "iso": ceiling.iso,
        "interval": list(ceiling.interval),
        "limited_by": ceiling.limited_by,
        "accepted": ceiling.accepted,
        "reason": ceiling.reason,
        "snr_grey_viewing": ceiling.snr_grey_viewing,
        "snr_shadow_viewing": ceiling.snr_shadow_viewing,
    }
