"""What a decoder hands on: the pixels of a capture as linear light, and what the camera said about it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.faults import Fault

if TYPE_CHECKING:  # the daemon uses these records and no numpy, which takes a tenth of a second to load
    import numpy as np
    from numpy.typing import NDArray

Source = Literal["raw", "jpeg", "preview"]
"""Where the pixels came from. Only `raw` is a measurement; the others are estimates through an assumed curve.
`jpeg` stands for every finished picture file (JPEG or TIFF); `preview` for the picture embedded in a raw."""

Channel = Literal["r", "g", "b", "y"]
"""Colour channel; `y` is the single channel of a monochrome sensor or a grey picture."""

Program = Literal["manual", "automatic", "aperture priority", "shutter priority", "auto ISO", "other"]
"""What the camera sets by itself; `auto ISO` is manual time and aperture with an ISO of the camera's choice."""


@dataclass(frozen=True, slots=True)
class Site:
    """All pixels that share one place of the colour pattern, or one plane of a stack.

    `values` is a 2-D view (not a copy) of unsigned integers. Row i, column j of it lies at row `top + i * pitch_y`,
    column `left + j * pitch_x` of the visible picture. `black` and `white` are codes: the black level, and saturation
    as the metadata states it (neither has the other subtracted). Pictures have black 0 and white 255.
    """

    channel: Channel
    values: "NDArray[np.uint16] | NDArray[np.uint8]"
    top: int
    left: int
    pitch_y: int
    pitch_x: int
    black: float
    white: float


@dataclass(frozen=True, slots=True)
class Frame:
    """The pixels of one capture. Valid only while the decoder that made it is open.

    `pixels` is the visible picture as stored, rows x columns (x planes), of which the sites are views; `height` and
    `width` are its size in pixels (not turned by `orientation`).
    `curve` is "linear" for raw and "sRGB" for pictures, whose linear light is therefore an estimate.
    `neutral` holds white-balance gains that make a neutral object equal in r, g, b (green 1.0); for showing only.
    `notes` are single sentences the user should see ("raw data all zero: read from the embedded preview").
    `fault` is what is wrong with the raw when it was read from its preview; None otherwise.
    """

    source: Source
    curve: Literal["linear", "sRGB"]
    sites: tuple[Site, ...]
    pixels: "NDArray[np.uint16] | NDArray[np.uint8]"
    height: int
    width: int
    neutral: Mapping[Channel, float]
    notes: tuple[str, ...] = ()
    fault: Fault | None = None


@dataclass(frozen=True, slots=True)
class Metadata:
    """What the capture says of itself. None means unknown: missing, zero and absurd values all become None.

    `settings` are nominal as read; `captured_at` carries a zone only if the camera recorded one. `focal_35mm` is the
    focal length that sees as much on a 36 mm wide sensor, `pixel_um` the distance from pixel to pixel in micrometres.
    Text is as found in the file: pass it through `text.display_name` before showing it. `orientation` is the Exif code
    1 to 8. `style` tells one rendering of the camera's own pictures from another, and nothing more.
    """

    settings: Settings = field(default_factory=Settings)
    program: Program | None = None
    bias_stops: float | None = None
    flash_fired: bool | None = None
    focal_mm: float | None = None
    focal_35mm: float | None = None
    pixel_um: float | None = None
    lens: str | None = None
    camera: str | None = None
    serial: str | None = None
    captured_at: datetime | None = None
    orientation: int = 1
    style: str | None = None
