"""One channel of a capture: its saturation, its curve to linear light, clipping and crushed shadows."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tetherwatch.frame.records import Channel, Frame
from tetherwatch.meter.histogram import Counts, SiteCounts
from tetherwatch.meter.records import ToneHistogram
from tetherwatch.meter.saturation import Saturation, find_saturation
from tetherwatch.meter.tone import Floats, merged, picture_table, raw_table, tone_histogram

NOT_MEASURED: Mapping[str, float] = {}

_LEAST_BELOW_BLACK = 50
_OUTSIDE_SIGMA = math.erfc(math.sqrt(0.5))
"""Share of a normal curve further than one sigma from its middle."""

_MOST_SIGMA = 0.01
"""Read noise is never taken to be more than this part of the range: beyond it the black level is wrong instead."""

_CRUSHED_PICTURE_CODE = 1.0
"""At and below this 8-bit code a finished picture holds no shadow detail."""


@dataclass(frozen=True, slots=True)
class SiteTone:
    """Code counts of one kind of site with its curve: `table[code]` is linear light, 1 at saturation.

    `range_codes` is the number of codes from black to saturation.
    """

    counts: Counts
    table: Floats
    black: float
    range_codes: float
    crushed_code: float


@dataclass(frozen=True, slots=True)
class ChannelTone:
    """All sites of one channel. `saturation.code` is a code, black not subtracted."""

    channel: Channel
    saturation: Saturation
    sites: tuple[SiteTone, ...]
    tones: ToneHistogram

    def with_clipped(self, clipped: int) -> "ChannelTone":
        """The same with the exact number of clipped pixels, where the tones stand for a part of the rows."""
        return replace(self, tones=replace(self.tones, clipped=clipped))

    @property
    def clipped_percent(self) -> float:
        """Percent of the channel at or above saturation."""
        return self.tones.clipped_percent_after(0.0)

    @property
    def crushed(self) -> int:
        """Pixels at or below black plus one sigma of read noise."""
        return sum(int(site.counts[: math.floor(site.crushed_code) + 1].sum()) for site in self.sites)


def read_noise_codes(counts: Counts, black: float, white: float) -> float:
    """Read noise in codes, from the pixels below black: they can only be there by noise, so half of a normal curve.

    Sigma is where 31.7 % of them are darker (a quantile, because dead pixels lie far below); 1 code where too few
    pixels lie below black to tell; never more than 1 % of the range.
    """
    edges = np.arange(math.ceil(black) + 2) - 0.5
    darker = np.concatenate(([0.0], np.cumsum(counts[: edges.size - 1], dtype=np.float64)))
    below = float(np.interp(black, edges, darker))
    if below < _LEAST_BELOW_BLACK:
        return 1.0
    sigma = black - float(np.interp(_OUTSIDE_SIGMA * below, darker, edges))
    return min(sigma, _MOST_SIGMA * (white - black))


def _site_tone(site: SiteCounts, saturation: Saturation, frame: Frame) -> SiteTone:
    if frame.curve == "sRGB":
        return SiteTone(site.counts, picture_table(), site.black, saturation.code, _CRUSHED_PICTURE_CODE)
    table = raw_table(site.counts.size, site.black, saturation.code)
    crushed = site.black + read_noise_codes(site.counts, site.black, site.white)
    return SiteTone(site.counts, table, site.black, saturation.code - site.black, crushed)


def _saturation(sites: list[SiteCounts], frame: Frame, measured_dn: float | None) -> Saturation:
    """`measured_dn`: codes above black at which the body's channel was measured to end; it stands for the metadata."""
    white = min(site.white for site in sites)
    if frame.curve == "sRGB":
        return Saturation(white, pile_up=False)
    black = sum(site.black for site in sites) / len(sites)
    if measured_dn is not None:
        white = black + measured_dn
    return find_saturation(np.sum([site.counts for site in sites], axis=0), black, white)


def channel_tones(
    counted: tuple[SiteCounts, ...], frame: Frame, measured_dn: Mapping[str, float] = NOT_MEASURED
) -> tuple[ChannelTone, ...]:
    """Group counted sites by channel, in the order the channels first appear.

    `measured_dn`: codes above black at which channels of the body end, as far as that was measured.
    """
    groups: dict[Channel, list[SiteCounts]] = {}
    for site in counted:
        groups.setdefault(site.channel, []).append(site)
    channels = []
    for channel, members in groups.items():
        saturation = _saturation(members, frame, measured_dn.get(channel))
        sites = tuple(_site_tone(site, saturation, frame) for site in members)
        tones = merged([tone_histogram(channel, site.counts, site.table) for site in sites])
        channels.append(ChannelTone(channel, saturation, sites, tones))
    return tuple(channels)
