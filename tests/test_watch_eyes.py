"""A worker measures the eyes of the face it meters, in a real capture, and no others."""

from pathlib import Path

import numpy as np
import pytest
import skimage.data
from PIL import Image

from tetherwatch.exposure.dial import Step
from tetherwatch.face.package import is_installed
from tetherwatch.meter.records import Aim
from tetherwatch.meter.tone import srgb_to_linear
from tetherwatch.rehearse.camera import PATTERN, Camera
from tetherwatch.rehearse.dng import write_dng
from tetherwatch.watch.task import Failure, Read, read_capture

SIDE = 1024
CAMERA = Camera()


@pytest.fixture(scope="module")
def portrait(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """NASA's portrait (public domain) as a raw of one megapixel at ISO 400, eyes 86 pixels apart."""
    picture = np.asarray(Image.fromarray(skimage.data.astronaut()).resize((SIDE, SIDE), Image.Resampling.BICUBIC))
    light, codes, rng = srgb_to_linear(picture / 255.0), np.empty((SIDE, SIDE), np.uint16), np.random.default_rng(3)
    for place, colour in enumerate(PATTERN):
        spot = np.s_[place // 2 :: 2, place % 2 :: 2]
        signal = rng.poisson(light[:, :, colour][spot] * CAMERA.electrons(-0.5, 400) * CAMERA.response[colour])
        codes[spot] = np.clip(signal * CAMERA.gain(400) + CAMERA.black, 0, CAMERA.white)
    path = tmp_path_factory.mktemp("portraits") / "portrait.dng"
    write_dng(
        path,
        codes,
        black=CAMERA.black,
        white=CAMERA.white,
        compressed=False,
        preview=np.ascontiguousarray(picture[::4, ::4]),
        neutral=CAMERA.response,
    )
    return path


def read(path: Path, aim: Aim) -> Read:
    """What a worker hands back."""
    outcome = read_capture(path, aim, Step.THIRD)
    assert not isinstance(outcome, Failure)
    return outcome


@pytest.mark.skipif(not is_installed(), reason="faces are found by the extra [face], which is not installed")
def test_the_eyes_of_a_metered_face_are_measured(portrait: Path) -> None:
    """As far apart as they are in the portrait, with detail beyond its uncertainty."""
    outcome = read(portrait, Aim("face"))
    assert outcome.reading.face is not None and outcome.eyes is not None
    assert outcome.eyes.distance_px == pytest.approx(86, rel=0.06)
    assert outcome.eyes.energy[-1] > 5 * outcome.eyes.uncertainty[-1]


def test_no_eyes_are_looked_for_where_no_face_is_metered(portrait: Path) -> None:
    """A plan that meters something else takes no look at people."""
    assert read(portrait, Aim("frame")).eyes is None
