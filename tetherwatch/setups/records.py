"""What is known of a lighting setup, of the frame pinned in it, and of how another frame matches that."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from tetherwatch.advise.records import Estimate, Shot
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Channel, Source
from tetherwatch.meter.records import AreaKind, Box, Thumbnail

SetupState = Literal["provisional", "current", "earlier"]
"""`provisional`: the newest frames look like it, and the next may still show that it is none."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A frame of the session as setups are found from it.

    `odd`: it is to be shot again and tells nothing of the light. `right`: its metered area was inside the tolerance.
    `asked_stops`: light that the call before it asked for, so that its coming is no new light; 0 where none was.
    `arrived_at` is in wall-clock seconds; the time of `shot` is by its camera's clock.
    """

    number: int
    shot: Shot
    thumbnail: Thumbnail
    arrived_at: float
    odd: bool = False
    right: bool = False
    asked_stops: float = 0.0


@dataclass(frozen=True, slots=True)
class Material:
    """Cells of a picture that look the same, in tenths of a stop.

    `level`: green light against mid-grey; `red` and `blue`: the other channels against green, without the camera's
    white balance. `cells`: how many there are.
    """

    level: int
    red: int
    blue: int
    cells: int


@dataclass(frozen=True, slots=True)
class Look:
    """A picture in coarse cells. It has no cells where there was no picture to look at.

    `bright` and `dark` cells are clipped or black, so that nothing is known of them. `layout`: green light of larger
    cells in stops against mid-grey, row by row; None where it is clipped or black. `balance`: stops by which the white
    balance of the picture brightened red and blue against green, so that these clip earlier; None where it is hidden.
    """

    materials: tuple[Material, ...] = ()
    bright: int = 0
    dark: int = 0
    layout: tuple[float | None, ...] = ()
    balance: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Sample:
    """One frame as others are compared with it. `level_stops`: its metered `area` against mid-grey."""

    settings: Settings
    level_stops: float
    area: AreaKind
    metered: Box
    look: Look


@dataclass(frozen=True, slots=True)
class LightPoint:
    """Light of one frame, in stops against that of others of its `view`, which show about the same picture."""

    time_s: float
    light_value: float
    view: int


@dataclass(frozen=True, slots=True)
class Drift:
    """A slow change of light inside a setup.

    `slope` and its 95 % `interval` are in stops per 10 minutes, positive: it gets brighter. `leaves_in_s`: seconds from
    the last frame until the picture leaves the tolerance if nothing is moved; 0 if it is outside of it.
    """

    slope: float
    interval: tuple[float, float]
    leaves_in_s: float


@dataclass(frozen=True, slots=True)
class Setup:
    """A stretch of frames under one light, or several with others between: a setup that was returned to.

    Numbers count from 1 in the order in which setups were found; `name` is the user's. `first_frame` and `last_frame`
    are numbers of frames, `frame_count` counts all frames in it, odd ones too. `light_value` is the scene's light at
    ISO 100 in its last frames, with one standard uncertainty; None where a setting is unknown. `settings` are the last
    ones at which a frame was right (`proven`), or those of its last frame. `samples` and `points` are what later frames
    are compared with and what drift is worked out from; `view` is that of its last frame.
    """

    number: int
    first_frame: int
    last_frame: int
    frame_count: int
    name: str | None = None
    light_value: Estimate | None = None
    settings: Settings = field(default_factory=Settings)
    proven: bool = False
    state: SetupState = "current"
    drift: Drift | None = None
    samples: tuple[Sample, ...] = ()
    points: tuple[LightPoint, ...] = ()
    view: int = 0

    @property
    def label(self) -> str:
        """Its name, or its number where it has none. A name is as the user wrote it: pass it through `display_name`."""
        return self.name or f"setup {self.number}"


@dataclass(frozen=True, slots=True)
class Pin:
    """A frame that others in its setup are to match.

    `level_stops`: its metered area against mid-grey, which is the aim while it is pinned. `channels`: each channel of
    that area against its saturation, linear in a raw, so that no white balance of the camera is in it. `highlights` and
    `shadows`: ends of the whole picture's tones, in stops below saturation.
    """

    setup: int
    frame: int
    source: Source
    area: AreaKind
    level_stops: float
    channels: Mapping[Channel, float]
    highlights: float
    shadows: float
    settings: Settings = field(default_factory=Settings)


@dataclass(frozen=True, slots=True)
class Placement:
    """Where faces of a setup sit, by a grey card in a frame.

    `card_stops`: the card against mid-grey in frame `card_frame`, taken at `settings` by the camera with this `serial`.
    `from_grey`: how far the face lies above the card, which is the aim for it, as measured in `face_frame`, a frame of
    the `setup`. These three are None until a face is seen.
    """

    card_frame: int
    card_stops: float
    source: Source
    serial: str | None
    settings: Settings
    setup: int | None = None
    face_frame: int | None = None
    from_grey: Estimate | None = None


@dataclass(frozen=True, slots=True)
class Match:
    """A frame against the pinned one, in stops; positive is brighter than the pinned frame.

    `offset_stops`: the metered area. `channel_stops`: each other channel against green, less what that was in the
    pinned frame: how far the light's colour has drifted. `highlights` and `shadows`: the ends of the tones.
    `measured`: both are raws; else these are estimates.
    """

    frame: int
    offset_stops: float
    channel_stops: Mapping[Channel, float]
    highlights: float
    shadows: float
    measured: bool
