"""What is known of one camera body: its dial, its noise and saturation by ISO, its ceiling, where its grey lies."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise

from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.light import RAW_GREY

_SAME_STOPS = 1e-6
"""Speeds closer than this are one."""

_ROUNDING_DN2 = 1 / 12


@dataclass(frozen=True, slots=True)
class IsoDial:
    """The speeds of a body: the dial's step, and its lowest and highest measured one in exact ISO values."""

    step: Step
    base: float
    top: float


@dataclass(frozen=True, slots=True)
class Ceiling:
    """The highest ISO the user accepts, between `low` and `high` as well as it could be told.

    `found` is one sentence on how it was found.
    """

    iso: float
    low: float
    high: float
    found: str


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise and range of a body's raw data at one ISO, per pixel of the green or only channel.

    `gain_dn_per_e`: codes per electron. `read_noise_e`: standard deviation of a black pixel in electrons, without the
    rounding to whole codes. `saturation_dn`: codes above black at which each channel (r, g, b, y) ends, empty where
    that was not measured.
    """

    iso: float
    gain_dn_per_e: float
    read_noise_e: float
    saturation_dn: Mapping[str, float] = field(default_factory=dict)

    @property
    def full_e(self) -> float | None:
        """Electrons of a pixel at saturation; None where that was not measured."""
        top = self.saturation_dn.get("g", self.saturation_dn.get("y"))
        return None if top is None else top / self.gain_dn_per_e

    def snr(self, signal_e: float) -> float:
        """Signal to temporal noise of a pixel with so many electrons (EMVA 1288, linear model): shot noise, read noise,
        and the rounding to codes, whose variance is 1/12."""
        return signal_e / math.sqrt(signal_e + self.read_noise_e**2 + _ROUNDING_DN2 / self.gain_dn_per_e**2)


@dataclass(frozen=True, slots=True)
class Grey:
    """Where a grey card lies that was exposed exactly as the user's own light meter said.

    `share`: of raw saturation, above black, green channel; 10/78 is where ISO 12232 has it.
    """

    share: float
    measured: date

    @property
    def stops(self) -> float:
        """Against 10/78 of saturation (ISO 12232): positive is nearer to saturation."""
        return math.log2(self.share / RAW_GREY)


@dataclass(frozen=True, slots=True)
class Measured:
    """How the noise was measured: when, from how many frames, and whether after the camera's own processing (JPEG)."""

    on: date
    frames: int
    processed: bool = False


@dataclass(frozen=True, slots=True)
class Calibration:
    """What of a body bears on metering one capture: its name, the codes above black at which each channel ends at the
    capture's ISO (empty where not measured), and mid-grey as a share of saturation."""

    body: str
    saturation_dn: Mapping[str, float]
    grey_share: float


@dataclass(frozen=True, slots=True)
class Body:
    """One body profile. None and empty are what was not measured.

    `name` is that of its file, `camera` and `serial` what its captures say; one without serial stands for any body of
    the model. `noise` goes by rising ISO.
    """

    name: str
    camera: str
    serial: str | None = None
    dial: IsoDial | None = None
    ceiling: Ceiling | None = None
    noise: tuple[Noise, ...] = ()
    grey: Grey | None = None
    measured: Measured | None = None

    @property
    def grey_share(self) -> float:
        """Mid-grey as a share of raw saturation: measured, or 10/78 (ISO 12232)."""
        return RAW_GREY if self.grey is None else self.grey.share

    def noise_at(self, iso: float) -> Noise | None:
        """Noise at any ISO from the lowest to the highest measured one; None beyond them.

        Between two, everything lies on a straight line over the stops of ISO; of the gain, which doubles with ISO, its
        logarithm does.
        """
        at = next((each for each in self.noise if abs(math.log2(iso / each.iso)) < _SAME_STOPS), None)
        if at is not None:
            return at
        around = (pair for pair in pairwise(self.noise) if pair[0].iso < iso < pair[1].iso)
        return next((_between(low, high, iso) for low, high in around), None)

    def grey_snr(self, iso: float) -> float | None:
        """Signal to noise of one pixel of a mid-grey that is exposed right at `iso`; None where it was not measured."""
        noise = self.noise_at(iso)
        full_e = None if noise is None else noise.full_e
        return None if noise is None or full_e is None else noise.snr(self.grey_share * full_e)

    def calibration(self, iso: float | None) -> Calibration:
        """What metering a capture at `iso` needs; None is an ISO that is not known."""
        noise = None if iso is None else self.noise_at(iso)
        return Calibration(self.name, {} if noise is None else noise.saturation_dn, self.grey_share)


def _between(low: Noise, high: Noise, iso: float) -> Noise:
    part = math.log2(iso / low.iso) / math.log2(high.iso / low.iso)

    def on_line(first: float, last: float) -> float:
        return first + part * (last - first)

    return Noise(
        iso=iso,
        gain_dn_per_e=2.0 ** on_line(math.log2(low.gain_dn_per_e), math.log2(high.gain_dn_per_e)),
        read_noise_e=on_line(low.read_noise_e, high.read_noise_e),
        saturation_dn={
            channel: on_line(code, high.saturation_dn[channel])
            for channel, code in low.saturation_dn.items()
            if channel in high.saturation_dn
        },
    )
