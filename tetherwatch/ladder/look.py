"""What is taken from the open frames of a rung, so that they can be closed: tiles, a small picture, windows, crops."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tetherwatch.frame.records import Channel, Frame, Site, Source
from tetherwatch.ladder.crops import choose_boxes, cut, detail_boxes, part_of_site
from tetherwatch.ladder.grouping import refuse
from tetherwatch.ladder.records import Crop, Part, PixelBox
from tetherwatch.ladder.register import has_structure, small_picture, small_side
from tetherwatch.ladder.tiles import TILE, Codes, Floats, Plane, Tiles, ToLight, pair_tiles, single_tiles
from tetherwatch.meter.area import sites_inside
from tetherwatch.meter.channel import channel_tones
from tetherwatch.meter.histogram import count_sites
from tetherwatch.meter.records import WHOLE_BOX
from tetherwatch.meter.tone import PICTURE_GREY, picture_table

SAMPLE_PITCH = 3
"""Of every so many rows and columns saturation and clipping are looked for."""

_LEAST_SIDE = 6 * TILE
"""Pixels: a smaller picture has too few tiles."""

_CLIPPED_PART = 0.98


Layout = tuple[Source, tuple[tuple[Channel, int, int, int], ...]]
"""Where a picture's pixels come from, and its colour pattern: channel, place and pitch of each site."""


@dataclass(frozen=True, slots=True)
class Places:
    """What is looked at in all rungs alike, chosen in the lowest: see `choose`."""

    crops: Mapping[Part, PixelBox]
    windows: Sequence[PixelBox]
    neutral: Mapping[Channel, float]
    width: int
    height: int
    layout: Layout


@dataclass(frozen=True, slots=True)
class Look:
    """One rung, seen. Signals are codes above black, or linear light 0..1 of a finished picture.

    `noise`: tiles of each site of a pair, of green of a single frame; `texture`: green tiles of the first frame by
    itself. `saturation` by channel, as a signal. `small` and `windows` hold one entry a frame, of green. `pair_stops`:
    light of the second frame against the first, 0 for a single one. `black_percent`: tiles that hold nothing but noise.
    """

    source: Source
    width: int
    height: int
    neutral: Mapping[Channel, float]
    noise: tuple[Tiles, ...]
    texture: Tiles
    saturation: Mapping[Channel, float]
    black: float
    clipped_percent: float
    black_percent: float
    small: tuple[Plane, ...]
    small_side: int
    windows: tuple[tuple[Plane, ...], ...]
    pair_stops: float
    crops: tuple[Crop, ...]
    places: Places
    notes: tuple[str, ...]

    @property
    def is_pair(self) -> bool:
        """Whether noise comes from the difference of two frames."""
        return len(self.small) == 2

    @property
    def green(self) -> Channel:
        """The channel that stands for the picture."""
        return self.texture.channel

    @property
    def contrast(self) -> bool:
        """Whether there is anything in the picture that a shift would show in."""
        return has_structure(self.small[0])


def look_at(frames: Sequence[Frame], grey_share: float, places: Places | None) -> Look:
    """Take all figures need from the open frames of a rung, one or two. Raises Refusal for pictures of other sizes.

    `places` are those of the lowest rung, None if this is it.
    """
    first = frames[0]
    _check_sizes([*frames, places] if places else frames)
    _check_layouts({_layout(frame) for frame in frames} | ({places.layout} if places else set()))
    saturation, clipped = _saturation(first)
    greens = [_green_site(frame) for frame in frames]
    ratio = _ratio(greens, _to_light(first, greens[0]), saturation[greens[0].channel])
    noise, texture = _tiles(frames, ratio)
    places = places or _choose(first, noise, texture, saturation[texture.channel], grey_share)
    lights = [_to_light(frame, green) for frame, green in zip(frames, greens, strict=True)]
    return Look(
        source=first.source,
        width=first.width,
        height=first.height,
        neutral=first.neutral,
        noise=noise,
        texture=texture,
        saturation=saturation,
        black=greens[0].black,
        clipped_percent=clipped,
        black_percent=_black_percent(texture),
        small=tuple(small_picture(green, light) for green, light in zip(greens, lights, strict=True)),
        small_side=small_side(greens[0]),
        windows=tuple(_windows(green, light, places.windows) for green, light in zip(greens, lights, strict=True)),
        pair_stops=-math.log2(ratio),
        crops=tuple(_crop(first, part, box, saturation, places) for part, box in places.crops.items()),
        places=places,
        notes=tuple(dict.fromkeys(note for frame in frames for note in frame.notes)),
    )


def _check_sizes(sized: Sequence[Frame | Places]) -> None:
    sizes = {(one.width, one.height) for one in sized}
    named = " and ".join(f"{width} x {height}" for width, height in sorted(sizes))
    if len(sizes) > 1:
        refuse("sizes", f"the pictures have different sizes: {named} pixels; shoot all with the same picture size")
    if min(min(size) for size in sizes) < _LEAST_SIDE:
        refuse("sizes", f"the pictures are too small to measure noise in: {named} pixels")


def _layout(frame: Frame) -> Layout:
    return frame.source, tuple((site.channel, site.top, site.left, site.pitch_y) for site in frame.sites)


def _check_layouts(layouts: set[Layout]) -> None:
    if len(layouts) > 1:
        refuse("sizes", "the captures are of different kinds: shoot all with the same settings of picture quality")


def _green_site(frame: Frame) -> Site:
    return next((site for site in frame.sites if site.channel in ("g", "y")), frame.sites[0])


def _to_light(frame: Frame, site: Site) -> ToLight:
    if frame.curve == "sRGB":
        table = picture_table().astype(np.float32)
        return lambda codes: table[codes]
    return _above(np.float32(site.black))


def _above(black: np.float32) -> ToLight:
    def to_light(codes: Codes) -> Plane:
        light: Plane = codes.astype(np.float32)
        light -= black
        return light

    return to_light


def _saturation(frame: Frame) -> tuple[dict[Channel, float], float]:
    """Signal at which each channel saturates, and percent of the worst channel's pixels that do."""
    tones = channel_tones(count_sites(sites_inside(frame, WHOLE_BOX, SAMPLE_PITCH)), frame)
    clipped = max(tone.clipped_percent for tone in tones)
    if frame.curve == "sRGB":
        return {tone.channel: 1.0 for tone in tones}, clipped
    return {tone.channel: tone.saturation.code - tone.sites[0].black for tone in tones}, clipped


def _ratio(greens: Sequence[Site], to_light: ToLight, saturation: float) -> float:
    """Light of the first frame against that of the second, from a sample of the pixels that are clipped in neither."""
    if len(greens) < 2:
        return 1.0
    one, other = (to_light(green.values[::SAMPLE_PITCH, ::SAMPLE_PITCH]) for green in greens)
    sound = (one < saturation * _CLIPPED_PART) & (other < saturation * _CLIPPED_PART)
    sums = [float(light[sound].sum(dtype=np.float64)) for light in (one, other)]
    return sums[0] / sums[1] if min(sums) > 0 else 1.0


def _tiles(frames: Sequence[Frame], ratio: float) -> tuple[tuple[Tiles, ...], Tiles]:
    """Noise tiles (of every site of a pair), and those of the first green site of the first frame by itself."""
    first = frames[0]
    green = _green_site(first)
    texture = single_tiles(green, _to_light(first, green))
    if len(frames) == 1:
        return (texture,), texture
    pairs = zip(first.sites, frames[1].sites, strict=True)
    return tuple(pair_tiles(one, other, _to_light(first, one), ratio) for one, other in pairs), texture


def _choose(frame: Frame, noise: Sequence[Tiles], texture: Tiles, saturation: float, grey_share: float) -> Places:
    temporal = next(tiles for tiles in noise if tiles.channel == texture.channel)
    floor = temporal.variance if temporal is not texture else _smooth(texture)
    grey = PICTURE_GREY if frame.curve == "sRGB" else grey_share * saturation
    crops = choose_boxes(texture, floor, saturation, grey)
    return Places(
        crops, detail_boxes(texture, floor, saturation), frame.neutral, frame.width, frame.height, _layout(frame)
    )


def _smooth(texture: Tiles) -> Floats:
    """A guess of the noise of a single frame's tiles: photon noise, as large as in the smoother half of them."""
    light = np.maximum(texture.signal, 1e-6)
    return light * np.median(texture.variance / light)


def _windows(green: Site, to_light: ToLight, boxes: Sequence[PixelBox]) -> tuple[Plane, ...]:
    return tuple(to_light(part_of_site(green, box)) for box in boxes)


def _crop(frame: Frame, part: Part, box: PixelBox, saturation: Mapping[Channel, float], places: Places) -> Crop:
    full = saturation[_green_site(frame).channel]
    lights = [_to_light(frame, site)(part_of_site(site, box)) / np.float32(full) for site in frame.sites]
    return cut(frame.sites, lights, part, box, places.neutral)


def _black_percent(texture: Tiles) -> float:
    """Percent of tiles whose light cannot be told from noise in the dark."""
    return 100.0 * float(np.mean(texture.signal < np.sqrt(texture.variance)))
