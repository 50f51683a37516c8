"""A ladder's looks become the figures of its rungs."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel
from tetherwatch.ladder.checks import Checked, sound_tiles
from tetherwatch.ladder.detail import Windows, detail_kept, in_light
from tetherwatch.ladder.grouping import Group, iso_words, refuse
from tetherwatch.ladder.look import Look
from tetherwatch.ladder.noise import SHADOW_STOPS, colour_snr, dynamic_range, scaled, snr, viewing_scale
from tetherwatch.ladder.records import Figure, Finding, Options, Rung
from tetherwatch.ladder.tiles import Floats, Tiles
from tetherwatch.ladder.transfer import (
    LEAST_GAIN,
    ROUNDING,
    Points,
    Transfer,
    fit_transfer,
    joined,
    lowest_from_others,
    without_texture,
)

_LEAST_TILES = 8
"""Tiles of one channel without which nothing is fitted."""

_LEFT_OUT = 0.05
"""Share of the tiles off the line from which on something in the scene must have moved."""

Transfers = Mapping[Channel, Transfer]


@dataclass(frozen=True, slots=True)
class Seen:
    """One rung that is measured: what was asked for, what was seen, what the checks said."""

    group: Group
    look: Look
    checked: Checked


def raw_rungs(seen: Sequence[Seen], options: Options) -> tuple[Rung, ...]:
    """The figures of raw rungs, from low to high ISO. Raises Refusal where too little of the scene can be measured."""
    green = seen[0].look.green
    pairs = all(one.look.is_pair for one in seen)
    by_channel = _pair_transfers(seen) if pairs else {green: _green_transfers(seen)}
    if green not in by_channel:
        _nothing_to_measure()
    suspects = _too_quiet([t.gain / one.group.iso for t, one in zip(by_channel[green], seen, strict=True)])
    return tuple(
        _raw_rung(one, seen[0], {channel: found[i] for channel, found in by_channel.items()}, i in suspects, options)
        for i, one in enumerate(seen)
    )


def _green_transfers(seen: Sequence[Seen]) -> tuple[Transfer, ...]:
    """The photon transfer of green at every rung, where some rungs are single frames."""
    lowest = seen[0].look
    singles = [_single_points(one.look, lowest) for one in seen]
    if any(points.signal.size < _LEAST_TILES for points, _ in singles):
        _nothing_to_measure()
    known = _lowest_transfer(seen, singles)
    fitted = [known]
    for one, (points, reference) in zip(seen[1:], singles[1:], strict=True):
        if one.look.is_pair:
            fitted.append(fit_transfer(_pair_points(one.look, lowest.green)))
        else:
            line = fit_transfer(without_texture(points, reference, known))
            fitted.append(replace(line, covariance=line.covariance + known.covariance))
    return tuple(fitted)


def _lowest_transfer(seen: Sequence[Seen], singles: Sequence[tuple[Points, Points]]) -> Transfer:
    lowest = seen[0]
    if lowest.look.is_pair:
        return fit_transfer(_pair_points(lowest.look, lowest.look.green))
    return lowest_from_others(singles[0][0], singles[1:], [one.group.iso for one in seen[1:]], lowest.group.iso)


def _nothing_to_measure() -> NoReturn:
    refuse("range", "too little of the scene is neither clipped nor black: noise cannot be measured in it")


def _pair_transfers(seen: Sequence[Seen]) -> dict[Channel, tuple[Transfer, ...]]:
    """The photon transfer of each channel at every rung of pairs, without channels in which too little can be measured.

    All rungs and channels help each other if they agree, else the rungs of each channel do, else none.
    """
    own = {}
    for channel in dict.fromkeys(tiles.channel for tiles in seen[0].look.noise):
        points = [_pair_points(one.look, channel) for one in seen]
        if all(part.signal.size >= _LEAST_TILES for part in points):
            own[channel] = tuple(fit_transfer(part) for part in points)
    together = joined([transfer for found in own.values() for transfer in found])
    if together is None:
        return {channel: joined(found) or found for channel, found in own.items()}
    count = len(seen)
    return {channel: together[i * count : (i + 1) * count] for i, channel in enumerate(own)}


def _pair_points(look: Look, channel: Channel) -> Points:
    """The sound tiles of a channel's sites."""
    rough = _channel_points(look, channel, None)
    if rough.signal.size < _LEAST_TILES:
        return rough
    return _channel_points(look, channel, fit_transfer(rough))


def _channel_points(look: Look, channel: Channel, noise: Transfer | None) -> Points:
    sites = [tiles for tiles in look.noise if tiles.channel == channel]
    parts = [_sound_points(tiles, sound_tiles(tiles, look, noise)) for tiles in sites]
    return Points(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


def _single_points(look: Look, lowest: Look) -> tuple[Points, Points]:
    """Tiles that are sound in a rung and in the lowest one, by their first frames alone: of both rungs."""
    both = sound_tiles(look.texture, look) & sound_tiles(lowest.texture, lowest) & (lowest.texture.signal > 0)
    return Points(*_sound_points(look.texture, both)), Points(*_sound_points(lowest.texture, both))


def _sound_points(tiles: Tiles, sound: NDArray[np.bool_]) -> tuple[Floats, Floats, Floats, Floats]:
    count = int(sound.sum())
    return tiles.signal[sound], tiles.variance[sound], np.full(count, tiles.pixels), np.zeros(count)


def _too_quiet(gains: Sequence[float]) -> set[int]:
    """Which rungs have too little noise for their ISO, against the upper half of all: smoothing takes noise away."""
    usual = float(np.quantile(gains, 0.75))
    return {i for i, gain in enumerate(gains) if gain < LEAST_GAIN * usual}


def _raw_rung(one: Seen, lowest: Seen, transfers: Transfers, quiet: bool, options: Options) -> Rung:
    look, green = one.look, transfers[one.look.green]
    if green.gain <= 0:
        rung = common_rung(one, lowest, None, None, options)
        return replace(rung, warnings=rung.warnings + _doubts(one, green, quiet))
    full = look.saturation[look.green]
    grey = options.grey_share * full
    gain = Figure(green.gain, float(np.sqrt(green.covariance[0, 0])))
    read = _root(green.dark - ROUNDING, float(np.sqrt(green.covariance[1, 1])))
    every = {channel: transfers.get(channel, green) for channel in look.neutral}
    rung = common_rung(one, lowest, snr(green, grey), snr(green, grey * 2.0**SHADOW_STOPS), options)
    return replace(
        rung,
        gain_dn_per_e=gain,
        read_noise_dn=read,
        read_noise_e=_ratio(read, gain),
        saturation_dn=full,
        saturation_e=_ratio(Figure(full, 0.0), gain),
        dynamic_range_stops=dynamic_range(green, full),
        snr_grey_colour=colour_snr(every, lowest.look.neutral, grey, options.chroma_weights),
        row_noise_dn=_pattern([tiles.row for tiles in look.noise if tiles.channel == look.green]),
        column_noise_dn=_pattern([tiles.column for tiles in look.noise if tiles.channel == look.green]),
        warnings=rung.warnings + _doubts(one, green, quiet),
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


def _doubts(one: Seen, noise: Transfer, quiet: bool) -> tuple[Finding, ...]:
    """What the fit itself gives reason to doubt."""
    found, where = [], iso_words(one.group.iso)
    if quiet and all(finding.kind != "noise reduction" for finding in one.checked.findings):
        reason = f"{where}: its noise is too low for its ISO, as noise reduction in the camera leaves it"
        found.append(Finding("noise reduction", reason, iso=one.group.iso))
    if one.look.is_pair and noise.left_out > _LEFT_OUT:
        reason = f"{where}: something moved in {100 * noise.left_out:.0f} % of the picture between its two frames"
        found.append(Finding("moved", reason, iso=one.group.iso))
    return tuple(found)


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
