"""A ladder's looks become the figures of its rungs."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tetherwatch.ladder.checks import Seen
from tetherwatch.ladder.detail import Windows, detail_kept, in_light
from tetherwatch.ladder.grouping import iso_words
from tetherwatch.ladder.lines import Lines, fit_lines
from tetherwatch.ladder.noise import SHADOW_STOPS, colour_snr, dynamic_range, scaled, snr, viewing_scale
from tetherwatch.ladder.records import Figure, Finding, Kind, Options, Rung
from tetherwatch.ladder.transfer import ROUNDING

_LEFT_OUT = 0.05
"""Share of the tiles off the line from which on something in the scene must have moved."""

_SHOWN = 2.0
"""Standard uncertainties (about 95 %) that the variance of read noise must be away from 0."""


def raw_rungs(seen: Sequence[Seen], options: Options) -> tuple[Rung, ...]:
    """The figures of raw rungs, from low to high ISO. Raises Refusal where too little of the scene can be measured."""
    lines = fit_lines(seen)
    return tuple(_raw_rung(one, seen[0], found, options) for one, found in zip(seen, lines, strict=True))


def _raw_rung(one: Seen, lowest: Seen, lines: Lines, options: Options) -> Rung:
    look, green = one.look, lines.by_channel.get(one.look.green)
    if green is None:
        rung = common_rung(one, lowest, None, None, options)
        return replace(rung, warnings=rung.warnings + _doubts(one, lines))
    full = look.saturation[look.green]
    grey = options.grey_share * full
    gain = Figure(green.gain, float(np.sqrt(green.covariance[0, 0])))
    read = _read_noise(green.dark - ROUNDING, float(np.sqrt(green.covariance[1, 1])))
    every = {channel: lines.by_channel.get(channel, green) for channel in look.neutral}
    rung = common_rung(one, lowest, snr(green, grey), snr(green, grey * 2.0**SHADOW_STOPS), options)
    return replace(
        rung,
        gain_dn_per_e=gain,
        read_noise_dn=read,
        read_noise_e=read and _ratio(read, gain),
        saturation_dn=full,
        saturation_e=_ratio(Figure(full, 0.0), gain),
        dynamic_range_stops=dynamic_range(green, full),
        snr_grey_colour=colour_snr(every, lowest.look.neutral, grey, options.chroma_weights),
        row_noise_dn=_pattern([tiles.row for tiles in look.noise if tiles.channel == look.green]),
        column_noise_dn=_pattern([tiles.column for tiles in look.noise if tiles.channel == look.green]),
        warnings=rung.warnings + _doubts(one, lines),
    )


def common_rung(one: Seen, lowest: Seen, grey: Figure | None, shadow: Figure | None, options: Options) -> Rung:
    """What raw and finished pictures have in common; `grey` and `shadow`: signal to noise of a pixel."""
    scale = viewing_scale(options.output, max(one.look.width, one.look.height))
    return Rung(
        iso=one.group.iso,
        settings=one.group.settings,
        files=one.group.files,
        method="pair" if one.look.is_pair else "single",
        gain_dn_per_e=None,
        read_noise_dn=None,
        read_noise_e=None,
        saturation_dn=None,
        saturation_e=None,
        dynamic_range_stops=None,
        snr_grey=grey,
        snr_grey_viewing=grey and scaled(grey, scale),
        snr_shadow=shadow,
        snr_shadow_viewing=shadow and scaled(shadow, scale),
        snr_grey_colour=None,
        row_noise_dn=None,
        column_noise_dn=None,
        detail_kept=_detail(one, lowest),
        mismatch_stops=one.checked.mismatch_stops,
        compensated_stops=one.checked.compensated_stops,
        clipped_percent=one.look.clipped_percent,
        warnings=one.checked.findings,
        crops=one.look.crops,
    )


def _detail(one: Seen, lowest: Seen) -> Figure | None:
    if one is lowest:
        return Figure(1.0, 0.0) if lowest.look.windows[0] else None
    if not one.checked.in_place or not lowest.look.windows[0]:
        return None
    noise = float(np.median(lowest.look.texture.variance))
    return detail_kept(_windows(lowest), _windows(one), noise)


def _windows(one: Seen) -> list[Windows]:
    level, between = one.checked.level_stops, one.look.pair_stops / 2
    return in_light(one.look.windows, (level - between, level + between))


def _doubts(one: Seen, lines: Lines) -> tuple[Finding, ...]:
    """What the lines themselves give reason to doubt."""
    found, green = [], lines.by_channel.get(one.look.green)

    def find(kind: Kind, reason: str) -> None:
        found.append(Finding(kind, f"{iso_words(one.group.iso)}: {reason}", iso=one.group.iso))

    if lines.quiet and all(finding.kind != "noise reduction" for finding in one.checked.findings):
        find("noise reduction", "its noise is too low for its ISO, as noise reduction in the camera leaves it")
    elif green is None:
        find("range", "too few tones of the scene can be measured in it, so it has no figures")
    if green is not None and one.look.is_pair and green.left_out > _LEFT_OUT:
        find("moved", f"something moved in {100 * green.left_out:.0f} % of the picture between its two frames")
    return tuple(found)


def _read_noise(variance: float, error: float) -> Figure | None:
    """A standard deviation; None where it is lost in its uncertainty: no sensor has none."""
    return None if variance <= _SHOWN * error else _root(variance, error)


def _root(variance: float, error: float) -> Figure:
    """A standard deviation from a variance and its uncertainty; where it is lost in it, 0 with what it may be."""
    value = math.sqrt(max(variance, 0.0))
    return Figure(value, error / (2 * value) if variance > error else math.sqrt(error))


def _ratio(one: Figure, other: Figure) -> Figure:
    value = one.value / other.value
    return Figure(value, math.hypot(one.uncertainty, value * other.uncertainty) / other.value)


def _pattern(parts: Sequence[tuple[float, float] | None]) -> Figure | None:
    known = [part for part in parts if part is not None]
    if not known:
        return None
    variance = sum(value for value, _ in known) / len(known)
    return _root(variance, math.sqrt(sum(error**2 for _, error in known)) / len(known))
