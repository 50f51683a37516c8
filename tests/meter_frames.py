"""Frames made of arrays, and light made into raw codes, for metering tests."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel, Frame, Site

BAYER = ("rg", "gb")
XTRANS = ("gbrgrb", "rggbgg", "bggrgg", "grbgbr", "bggrgg", "rggbgg")
MONO = ("y",)
PATTERNS = (BAYER, ("gb", "rg"), XTRANS, MONO)

BLACK, WHITE = 512.0, 16383.0

UPRIGHT: dict[int, Callable[[NDArray[np.generic]], NDArray[np.generic]]] = {
    1: lambda stored: stored,
    2: lambda stored: stored[:, ::-1],
    3: lambda stored: stored[::-1, ::-1],
    4: lambda stored: stored[::-1],
    5: lambda stored: stored.swapaxes(0, 1),
    6: lambda stored: stored[::-1].swapaxes(0, 1),
    7: lambda stored: stored[::-1, ::-1].swapaxes(0, 1),
    8: lambda stored: stored[:, ::-1].swapaxes(0, 1),
}
"""What each Exif orientation code asks for (Exif 2.3, table of the Orientation tag)."""


def mosaic_frame(
    codes: NDArray[np.uint16], pattern: Sequence[str] = BAYER, black: float = BLACK, white: float = WHITE
) -> Frame:
    """A raw frame of a mosaic; `pattern` names the colours of its repeating cell, row by row."""
    pitch = len(pattern)
    sites = tuple(
        Site(colour, codes[top::pitch, left::pitch], top, left, pitch, pitch, black, white)  # type: ignore[arg-type]
        for top, row in enumerate(pattern)
        for left, colour in enumerate(row)
    )
    return Frame("raw", "linear", sites, codes, *codes.shape, dict.fromkeys((site.channel for site in sites), 1.0))


def picture_frame(picture: NDArray[np.uint8]) -> Frame:
    """A finished picture: rows x columns x 3, or rows x columns for a grey one."""
    channels: tuple[Channel, ...] = ("y",) if picture.ndim == 2 else ("r", "g", "b")
    planes = picture[:, :, None] if picture.ndim == 2 else picture
    sites = tuple(Site(c, planes[:, :, i], 0, 0, 1, 1, 0.0, 255.0) for i, c in enumerate(channels))
    return Frame("jpeg", "sRGB", sites, picture, *picture.shape[:2], dict.fromkeys(channels, 1.0))


def turned_pattern(shape: tuple[int, int], pattern: Sequence[str], orientation: int) -> tuple[str, ...]:
    """The colour cell of a mosaic of `shape` after it has been turned upright."""
    pitch = len(pattern)
    repeats = (-(-shape[0] // pitch), -(-shape[1] // pitch))
    colours = np.tile(np.array([list(row) for row in pattern]), repeats)[: shape[0], : shape[1]]
    return tuple("".join(row) for row in UPRIGHT[orientation](colours)[:pitch, :pitch])


def raw_codes(
    light: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    electrons: float = 60_000.0,
    read_noise_e: float = 3.0,
    well: float = np.inf,
) -> NDArray[np.uint16]:
    """Codes of linear light (1 = the metadata's saturation, worth so many `electrons`); the well clips at `well`."""
    signal = np.minimum(rng.poisson(light * electrons), well * electrons)
    codes = (signal + rng.normal(0.0, read_noise_e, light.shape)) * ((WHITE - BLACK) / electrons) + BLACK
    return np.clip(np.rint(codes), 0, WHITE).astype(np.uint16)
