"""What metering hands on: small frozen records of plain numbers, cheap to send between processes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from tetherwatch.frame.records import Channel, Source

AreaKind = Literal["face", "card", "box", "frame"]

BINS_PER_STOP = 12
STOPS_SHOWN = 14
"""A tone histogram reaches from saturation down to this many stops below it."""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle relative to the upright picture: 0 is the left or top edge, 1 the right or bottom edge."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def area(self) -> float:
        """Its part of the picture."""
        return (self.right - self.left) * (self.bottom - self.top)


@dataclass(frozen=True, slots=True)
class Point:
    """A place in the upright picture: 0 is the left or top edge, 1 the right or bottom edge."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Face:
    """A face in the upright picture. `left_eye` is the centre of the eye further left in the picture, not the person's.

    `score`: how sure the detector is, 0 to 1.
    """

    box: Box
    left_eye: Point
    right_eye: Point
    score: float

    @property
    def middle(self) -> Point:
        """Halfway between the eyes."""
        return Point((self.left_eye.x + self.right_eye.x) / 2, (self.left_eye.y + self.right_eye.y) / 2)


@dataclass(frozen=True, slots=True)
class Sides:
    """The light on both sides of a face, in stops against mid-grey, as seen in the picture.

    `uncertainty_stops`: one standard uncertainty of their difference.
    """

    left_stops: float
    right_stops: float
    uncertainty_stops: float

    @property
    def ratio_stops(self) -> float:
        """The lighting ratio, key against fill, in stops; never negative."""
        return abs(self.left_stops - self.right_stops)

    @property
    def key(self) -> Literal["left", "right"]:
        """The brighter side, as seen in the picture."""
        return "left" if self.left_stops > self.right_stops else "right"


@dataclass(frozen=True, slots=True)
class LastFace:
    """Where a face was last found: `ago` frames before, by a camera with this serial number, held this way."""

    face: Face
    ago: int
    serial: str | None
    orientation: int


CENTRE_BOX = Box(0.4, 0.4, 0.6, 0.6)
WHOLE_BOX = Box(0.0, 0.0, 1.0, 1.0)


@dataclass(frozen=True, slots=True)
class Aim:
    """Where the metered area should sit.

    `from_grey_stops`: against mid-grey, negative is darker. `tolerance_stops`: inside it the picture is right.
    `clip_limit_percent`: how much of the area may be clipped. `box` is used by `card` and `box`; under `face` it is
    where a grey card may be held. Of several faces the one nearest to `near` is metered, without it the largest; where
    none is found, that of `last`.
    """

    area: AreaKind = "frame"
    from_grey_stops: float = 0.0
    tolerance_stops: float = 0.17
    clip_limit_percent: float = 0.5
    box: Box = CENTRE_BOX
    near: Point | None = None
    last: LastFace | None = None


@dataclass(frozen=True, slots=True)
class ToneHistogram:
    """Pixels of one channel counted by stops below saturation.

    `counts[k]` holds the pixels between k and k+1 bins below saturation (`BINS_PER_STOP` bins a stop, `STOPS_SHOWN`
    stops); `clipped` those at or above saturation; `below` those darker than the last bin, black included.
    """

    channel: Channel
    counts: tuple[int, ...]
    clipped: int
    below: int

    @property
    def total(self) -> int:
        """All pixels of the channel."""
        return sum(self.counts) + self.clipped + self.below

    def percentile(self, percent: float) -> float:
        """Stops below saturation of the pixel that `percent` of all pixels are darker than (interpolated in its bin).

        0 when that pixel is clipped, `STOPS_SHOWN` when it is darker than the last bin.
        """
        brighter = self.total * (1 - percent / 100) - self.clipped
        if (self.clipped and brighter <= 0) or not self.total:
            return 0.0
        for index, count in enumerate(self.counts):
            if count and brighter <= count:
                return (index + brighter / count) / BINS_PER_STOP
            brighter -= count
        return float(STOPS_SHOWN)

    def clipped_percent_after(self, move_stops: float) -> float:
        """Percent of the channel at or above saturation once everything is `move_stops` brighter.

        A darkening move cannot bring back what is clipped already by a known amount, so it returns today's percent.
        Between bin edges the count is interpolated.
        """
        if not self.total:
            return 0.0
        reach = min(max(move_stops, 0.0) * BINS_PER_STOP, float(len(self.counts)))
        whole = int(reach)
        part = self.counts[whole] * (reach - whole) if whole < len(self.counts) else 0.0
        return 100.0 * (self.clipped + sum(self.counts[:whole]) + part) / self.total


@dataclass(frozen=True, slots=True)
class Reading:
    """What was measured in one capture.

    `level_stops`: the metered area against mid-grey; `offset_stops` = level - aim (negative: darker than the aim);
    `uncertainty_stops`: one standard uncertainty of both. `clipped_percent` and `crushed_percent` are those of the
    whole picture, `area_clipped_percent` the worst channel's in the metered area. `headroom_stops`: from the 99.9th
    percentile of the brightest channel up to saturation (0 when clipped). `light_value`: scene light at ISO 100, None
    if a setting is unknown. `saturation` gives each channel's saturation code; `pile_up` names the channels where it
    was found in the picture itself rather than in the metadata. `area` is what was metered, inside the box `metered`;
    `notes` explain where that is not what the aim asked for. `tones` and `area_tones` are the histograms of the whole
    picture and of the metered area. `faces` are all that were found, largest first, and looked for only if the aim is
    one; `face` is the one metered, None if there was none; `sides` the light on its two sides. `card_stops`: beside
    a face, the level of the aim's box against mid-grey, in case a grey card is held there; None where that is clipped
    or black. `channel_stops`: each
    channel of the metered area against its saturation, before any white balance. `body`: the body profile whose
    saturation and grey were used, None where there was none.
    """

    source: Source
    area: AreaKind
    level_stops: float
    offset_stops: float
    uncertainty_stops: float
    clipped_percent: Mapping[Channel, float]
    crushed_percent: float
    area_clipped_percent: float
    headroom_stops: float
    light_value: float | None
    saturation: Mapping[Channel, float]
    pile_up: tuple[Channel, ...]
    tones: tuple[ToneHistogram, ...]
    area_tones: tuple[ToneHistogram, ...]
    notes: tuple[str, ...] = ()
    provisional: bool = False
    metered: Box = WHOLE_BOX
    faces: tuple[Face, ...] = ()
    face: Face | None = None
    sides: Sides | None = None
    card_stops: float | None = None
    channel_stops: Mapping[Channel, float] = field(default_factory=dict)
    body: str | None = None

    def area_clipped_percent_after(self, move_stops: float) -> float:
        """The worst channel's clipped percent in the metered area once everything is `move_stops` brighter."""
        return max(tones.clipped_percent_after(move_stops) for tones in self.area_tones)


@dataclass(frozen=True, slots=True)
class Thumbnail:
    """A small upright picture. `rgb` holds height * width * 3 bytes (sRGB), `clipped` height * width bytes of 0 or 1.

    `metered` is the rectangle that was metered, for drawing its outline.
    """

    width: int
    height: int
    rgb: bytes
    clipped: bytes
    metered: Box
