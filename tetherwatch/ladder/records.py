"""What the ladder hands on: figures per rung, the ceiling, and what was found wrong, as plain frozen records."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Source

Method = Literal["pair", "single"]
"""How noise was told from the scene: by the difference of two frames, or by the local variance of one."""

Limit = Literal["shadows", "grey", "detail", "ladder"]
"""What sets the ceiling; `ladder` means that its highest rung is still good enough."""

Part = Literal["dark", "bright", "detail"]

Kind = Literal[
    "unreadable",
    "damaged",
    "no metadata",
    "cameras",
    "sizes",
    "one rung",
    "aperture",
    "missing rung",
    "repeated rung",
    "settings",
    "light",
    "compensated",
    "scene",
    "moved",
    "flicker",
    "clipped",
    "black",
    "range",
    "grade",
    "noise reduction",
    "single frames",
    "processed",
    "unknown curve",
]
"""What a check is about: a stable name for programs; `Finding.reason` is for people."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a check found, in a plain sentence (with untrusted text in it: see `text.display_name`).

    `iso` and `file` say where, None if it concerns the whole ladder. `refuses`: what it concerns is left out of the
    figures, or all figures are where both are None.
    """

    kind: Kind
    reason: str
    iso: float | None = None
    file: Path | None = None
    refuses: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """A measured value and one standard uncertainty, in the same unit."""

    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class PixelBox:
    """A part of the picture as stored (not turned upright), in pixels."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Crop:
    """A part of one rung at its full resolution.

    `light` has the shape (height, width, 3): linear light in r, g, b with the white balance of the lowest rung, 0 at
    black (negative below), 1 at the saturation of green. Stored orientation.
    """

    part: Part
    box: PixelBox
    light: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Rung:
    """The figures of one ISO; None where they cannot be measured.

    `iso` and `settings` are exact dial values; `files` are those used, in the order taken. Codes (DN) have black
    subtracted. Noise is temporal noise: what changes from frame to frame.

    `gain_dn_per_e`: codes per electron. `read_noise_*`: standard deviation in the dark, without the rounding to whole
    codes, None also where it is less than the frames can show. `saturation_*`: where green clips.
    `dynamic_range_stops`: from there down to signal = noise. `snr_grey`, `snr_shadow`: signal to noise of a green pixel
    at mid-grey and 3 stops below it; `*_viewing`: the same seen at the output size. `snr_grey_colour`: luminance to
    noise with luma and chroma weighted, per pixel. `row_noise_dn`, `column_noise_dn`: what all pixels of a row (column)
    have in common. `detail_kept`: fine detail against the lowest rung, 1 is all of it. `mismatch_stops`: measured light
    against what the settings lead to (negative: darker), after `compensated_stops`, which is light that a filter or the
    lamps took (negative) or added, 0 where there is none.
    """

    iso: float
    settings: Settings
    files: tuple[Path, ...]
    method: Method
    gain_dn_per_e: Figure | None
    read_noise_dn: Figure | None
    read_noise_e: Figure | None
    saturation_dn: float | None
    saturation_e: Figure | None
    dynamic_range_stops: Figure | None
    snr_grey: Figure | None
    snr_grey_viewing: Figure | None
    snr_shadow: Figure | None
    snr_shadow_viewing: Figure | None
    snr_grey_colour: Figure | None
    row_noise_dn: Figure | None
    column_noise_dn: Figure | None
    detail_kept: Figure | None
    mismatch_stops: float
    compensated_stops: float = 0.0
    clipped_percent: float = 0.0
    warnings: tuple[Finding, ...] = ()
    crops: tuple[Crop, ...] = ()

    @property
    def frames(self) -> int:
        """How many frames the figures come from."""
        return len(self.files)


@dataclass(frozen=True, slots=True)
class Ceiling:
    """The highest ISO worth using: the highest third-stop of the dial that keeps every grade.

    `interval`: lowest and highest ISO it may be, given the uncertainties (about 95 %). `limited_by` is None when the
    user's own eye chose it (`accepted`). `snr_grey_viewing` and `snr_shadow_viewing`: what that ISO stands for, None if
    not measured.
    """

    iso: float
    interval: tuple[float, float]
    limited_by: Limit | None
    reason: str
    snr_grey_viewing: float | None
    snr_shadow_viewing: float | None
    accepted: bool = False


@dataclass(frozen=True, slots=True)
class Output:
    """How large the picture will be seen: the longer side of a print in cm, or of a web picture in pixels."""

    kind: Literal["print", "web"] = "print"
    size: float = 42.0


@dataclass(frozen=True, slots=True)
class Options:
    """What the user may choose.

    `grade`: the least signal to noise ratio at mid-grey, seen at the output size (10 first acceptable, 40 first
    excellent: ISO 12232); `shadow_grade`: the same 3 stops below, None for a quarter of `grade`. `detail_least`: the
    least part of fine detail. `denoise_stops`: stops of light that denoising is worth, each
    lowering both grades by the square root of 2. `accept_iso`: the user's own
    eye instead of grades. `chroma_weights`: c1 and c2 of the noise of R-Y and B-Y. `grey_share`: where mid-grey sits
    as a part of saturation.
    """

    output: Output = field(default_factory=Output)
    grade: float = 10.0
    shadow_grade: float | None = None
    detail_least: float = 0.8
    denoise_stops: float = 0.0
    accept_iso: float | None = None
    chroma_weights: tuple[float, float] = (0.279, 0.088)
    grey_share: float = 10 / 78


@dataclass(frozen=True, slots=True)
class Ladder:
    """The whole result. `rungs` from low to high ISO; empty, and `ceiling` None, where `refused` says why.

    `camera` and `serial` are as found in the files (see `text.display_name`). `source` is "jpeg" where only finished
    pictures were there: then the figures are those after the camera's processing. `boxes` are the parts of the picture
    that the crops show, `grades` the least `snr_grey_viewing` and `snr_shadow_viewing` with denoising allowed for.
    """

    rungs: tuple[Rung, ...]
    ceiling: Ceiling | None
    camera: str | None
    serial: str | None
    source: Source
    width: int
    height: int
    orientation: int
    captured_at: datetime | None
    options: Options
    grades: tuple[float, float]
    boxes: Mapping[Part, PixelBox]
    warnings: tuple[Finding, ...] = ()
    refused: tuple[Finding, ...] = ()

    @property
    def fit_for_profile(self) -> bool:
        """Whether a body profile may be written from it."""
        return self.ceiling is not None and self.source == "raw" and not self.refused

    @property
    def all_findings(self) -> tuple[Finding, ...]:
        """Everything that was found, refusals first."""
        return self.refused + self.warnings + tuple(w for rung in self.rungs for w in rung.warnings)
