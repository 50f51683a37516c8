"""Which parts of the picture to show, and those parts in full colour at full resolution."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel, Site
from tetherwatch.ladder.records import Crop, Part, PixelBox
from tetherwatch.ladder.tiles import TILE, Codes, Floats, Plane, Tiles

BLOCK = 5
"""Tiles along each side of a crop or of a window of fine detail."""

DETAIL_WINDOWS = 4

_DARK_STOPS, _BRIGHT_STOPS = -3.0, 1.5
"""Where the dark and the bright part should sit against mid-grey."""

_MIXED_STOPS = 1.0
"""So much further from there is worth a part that is one tone rather than one that varies by its own mean."""

_COLOURS: tuple[Channel, ...] = ("r", "g", "b")


def block_means(values: Floats) -> Floats:
    """Mean of every square of `BLOCK` tiles, by its first tile."""
    side = min(BLOCK, *values.shape)
    views = np.lib.stride_tricks.sliding_window_view(values, (side, side))
    means: Floats = views.mean(axis=(2, 3))
    return means


def choose_boxes(texture: Tiles, noise: Floats, saturation: float, grey: float) -> dict[Part, PixelBox]:
    """A dark, a bright and a detailed part of the lowest rung. `noise`: temporal variance of each of its tiles.

    `saturation` and `grey` are signals of green.
    """
    signal = np.maximum(block_means(texture.signal), 1e-6)
    whole = block_means(np.where(_is_clipped(texture, saturation), 1.0, 0.0)) == 0
    stops = np.log2(np.maximum(signal, grey * 2.0**-12) / grey)
    mixed = _MIXED_STOPS * np.sqrt(np.maximum(block_means(texture.signal**2 + texture.spread**2) / signal**2 - 1, 0.0))
    fine = block_means(fine_power(texture, noise, saturation))

    def nearest(wanted: float) -> PixelBox:
        return box_at(int(np.argmin(np.where(whole, np.abs(stops - wanted) + mixed, np.inf))), texture)

    boxes: dict[Part, PixelBox] = {"dark": nearest(_DARK_STOPS), "bright": nearest(_BRIGHT_STOPS)}
    return boxes | {"detail": box_at(int(np.argmax(fine)), texture)}


def detail_boxes(texture: Tiles, noise: Floats, saturation: float) -> list[PixelBox]:
    """The parts of a picture with most fine detail, none overlapping another."""
    fine = block_means(fine_power(texture, noise, saturation)).copy()
    boxes = []
    for _ in range(DETAIL_WINDOWS):
        best = int(np.argmax(fine))
        row, column = divmod(best, fine.shape[1])
        if fine[row, column] <= 0:
            break
        boxes.append(box_at(best, texture))
        fine[max(0, row - BLOCK + 1) : row + BLOCK, max(0, column - BLOCK + 1) : column + BLOCK] = 0.0
    return boxes


def fine_power(texture: Tiles, noise: Floats, saturation: float) -> Floats:
    """Variance of fine structure in each tile beyond its noise; 0 in clipped tiles."""
    return np.where(_is_clipped(texture, saturation), 0.0, np.maximum(texture.variance - noise, 0.0))


def _is_clipped(texture: Tiles, saturation: float) -> NDArray[np.bool_]:
    clipped: NDArray[np.bool_] = texture.signal + 2 * texture.spread > saturation
    return clipped


def box_at(index: int, texture: Tiles) -> PixelBox:
    """The box of the block with that number among all blocks."""
    rows, columns = texture.signal.shape
    side = min(BLOCK, rows, columns)
    row, column = divmod(index, columns - side + 1)
    return PixelBox(column * TILE, row * TILE, side * TILE, side * TILE)


def part_of_site(site: Site, box: PixelBox) -> Codes:
    """The pixels of a site inside a box whose edges are those of tiles."""
    rows = slice(box.top // site.pitch_y, (box.top + box.height) // site.pitch_y)
    columns = slice(box.left // site.pitch_x, (box.left + box.width) // site.pitch_x)
    return site.values[rows, columns]


def cut(
    sites: Sequence[Site], lights: Sequence[Plane], part: Part, box: PixelBox, gains: Mapping[Channel, float]
) -> Crop:
    """A box of the picture in r, g, b. `lights` are the linear light of the box at each site, `gains` white balance.

    What a pixel did not record is the mean of those around it that did, near ones counting more (normalised
    convolution): plain on purpose, so that all rungs are drawn alike and none is smoothed for its noise.
    """
    planes = [_colour(sites, lights, channel, box) * np.float32(gains.get(channel, 1.0)) for channel in _COLOURS]
    return Crop(part, box, np.stack(planes, axis=-1))


def _colour(sites: Sequence[Site], lights: Sequence[Plane], channel: Channel, box: PixelBox) -> Plane:
    wanted = channel if any(site.channel == channel for site in sites) else "y"
    values = np.zeros((box.height, box.width), np.float32)
    known = np.zeros_like(values)
    for site, light in zip(sites, lights, strict=True):
        if site.channel == wanted:
            values[site.top :: site.pitch_y, site.left :: site.pitch_x] = light
            known[site.top :: site.pitch_y, site.left :: site.pitch_x] = 1.0
    reach = 0 if known.all() else 1 if max(site.pitch_y for site in sites) <= 2 else 3
    around = _tent(values, reach) / np.maximum(_tent(known, reach), np.float32(1e-6))
    return np.where(known > 0, values, around)


def _tent(plane: Plane, reach: int) -> Plane:
    """Weighted sum of neighbours up to `reach` pixels away, weights falling off in a straight line."""
    weights = [reach + 1 - abs(step) for step in range(-reach, reach + 1)]
    for axis in (0, 1):
        padded = np.pad(plane, [(reach, reach) if axis == along else (0, 0) for along in (0, 1)], mode="reflect")
        size = plane.shape[axis]
        parts = [weight * padded.take(range(at, at + size), axis) for at, weight in enumerate(weights)]
        plane = np.sum(parts, axis=0, dtype=np.float32)
    return plane
