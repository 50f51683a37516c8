"""Finding faces in real portraits taken by the simulated camera, and metering them."""

import math
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skimage.data
from hypothesis import given
from hypothesis import strategies as st
from meter_frames import UPRIGHT, picture_frame

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))

from benchmarks import faces
from benchmarks.captures import read
from benchmarks.portraits import Pose, portrait, ratio_stops, sitters, skin_stops, take

from tetherwatch.errors import MissingExtraError
from tetherwatch.exposure.settings import Settings
from tetherwatch.face.cascade import strongest
from tetherwatch.face.detector import detector, find_faces
from tetherwatch.face.package import weights_folder
from tetherwatch.face.picture import LONGEST_SIDE, detection_picture
from tetherwatch.face.weights import read_weights, tensors
from tetherwatch.frame.load import open_frame
from tetherwatch.meter.nearby import nearest, next_face
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import Aim, Box, Face, LastFace, Point

FACE = Aim("face")
INVERSE = {1: 1, 2: 2, 3: 3, 4: 4, 5: 5, 6: 8, 7: 7, 8: 6}
"""The Exif code that turns an upright picture into the one stored under a code."""


def face_at(x: float, y: float = 0.5) -> Face:
    """A face with its eyes around a place."""
    return Face(Box(x - 0.1, y - 0.1, x + 0.1, y + 0.2), Point(x - 0.04, y), Point(x + 0.04, y), 1.0)


@pytest.mark.parametrize("person", sorted(sitters()))
@pytest.mark.parametrize(
    ("pose", "offset", "iso"),
    [
        (Pose(500, 0), 0.0, 100),
        (Pose(260, -30, backdrop=0.9, wardrobe=0.9, darker_stops=2), -1.5, 1600),
        (Pose(200, 30, backdrop=0.02, wardrobe=0.02, darker_stops=1), 1.5, 6400),
        (Pose(320, 15, fill_stops=2.0), -3.0, 800),
    ],
    ids=["plain", "dark skin before white", "high ISO before black", "dark frame lit from one side"],
)
def test_a_face_is_found_and_metered(tmp_path: Path, person: str, pose: Pose, offset: float, iso: float) -> None:
    """Tilted, dark, bright, noisy: one face, where it is, its level and its lighting ratio near the truth."""
    scene = portrait(sitters()[person], pose)
    take(tmp_path / "p.dng", scene, offset, iso, 7)
    reading = read(tmp_path / "p.dng", FACE).reading
    assert reading.area == "face" and reading.notes == ()
    (face,) = reading.faces
    assert reading.face == face and faces.is_it(face, scene)
    assert reading.level_stops == pytest.approx(skin_stops(scene) + offset, abs=0.09)
    assert reading.sides is not None
    assert reading.sides.left_stops - reading.sides.right_stops == pytest.approx(ratio_stops(scene), abs=0.15)


@pytest.mark.parametrize("tilt", [-30, 30])
def test_a_small_tilted_face_is_looked_for_turned(tmp_path: Path, tilt: float) -> None:
    """A face that is missed as it stands is found turned upright."""
    scene = portrait(sitters()["scikit-image"], Pose(80, tilt, backdrop=0.9), seed=1)
    take(tmp_path / "p.dng", scene, 0.0, 100, 1)
    with open_frame(tmp_path / "p.dng") as frame:
        (face,) = find_faces(frame, 1)
    assert faces.is_it(face, scene)


def test_backdrop_and_clothes_move_nothing() -> None:
    """From black to white they move the reading of a face by less than 0.05 stop."""
    assert max(map(abs, faces.moved(1))) < faces.ERROR_AT_MOST


@pytest.mark.parametrize(
    "picture",
    [skimage.data.coffee, skimage.data.chelsea, skimage.data.brick, skimage.data.rocket, skimage.data.page],
)
def test_what_is_no_face_is_not_taken_for_one(picture: Callable[[], np.ndarray]) -> None:
    """Cups, cats, bricks, rockets and print are no faces."""
    assert find_faces(picture_frame(picture()), 1) == ()


def test_noise_and_even_pictures_hold_no_face() -> None:
    """Neither does a black, a white or a noisy frame, nor one of a few pixels."""
    rng = np.random.default_rng(1)
    for pixels in (np.zeros((400, 600, 3)), np.full((400, 600, 3), 255), rng.integers(0, 256, (400, 600, 3))):
        assert find_faces(picture_frame(pixels.astype(np.uint8)), 1) == ()
    assert find_faces(picture_frame(np.zeros((3, 9, 3), np.uint8)), 1) == ()


@pytest.mark.parametrize("orientation", sorted(UPRIGHT))
def test_a_turned_camera_changes_nothing(orientation: int) -> None:
    """However the picture is stored, eyes and sides are those of the upright one, and so is the reading."""
    upright = skimage.data.astronaut()[:400, :480]
    upright[:, :225] //= 2
    stored = np.ascontiguousarray(UPRIGHT[INVERSE[orientation]](upright))
    plain = picture_frame(np.ascontiguousarray(upright))
    expected = meter_frame(plain, FACE, Settings(), 1, faces=find_faces(plain, 1))
    frame = picture_frame(stored)
    reading = meter_frame(frame, FACE, Settings(), orientation, faces=find_faces(frame, orientation))
    assert expected.face is not None and reading.face is not None
    assert reading.face.middle.x == pytest.approx(expected.face.middle.x, abs=0.004)
    assert reading.face.middle.y == pytest.approx(expected.face.middle.y, abs=0.004)
    assert reading.level_stops == pytest.approx(expected.level_stops, abs=0.03)
    assert reading.sides is not None and reading.sides.key == "right"
    assert reading.metered.left == pytest.approx(expected.metered.left, abs=0.005)


def test_where_none_is_found_the_last_place_is_metered_then_the_frame(tmp_path: Path) -> None:
    """The place of the last face counts for the same camera held the same way, and it is said."""
    scene = portrait(sitters()["scikit-image"], Pose(300))
    take(tmp_path / "p.dng", scene, 0.0, 100, 1)
    with open_frame(tmp_path / "p.dng") as frame:
        (face,) = find_faces(frame, 1)
        found = meter_frame(frame, FACE, Settings(), 1, faces=(face,))
        last = Aim("face", last=LastFace(face, 2, None, 1))
        again = meter_frame(frame, last, Settings(), 1, faces=())
    assert again.level_stops == found.level_stops and again.area == "face"
    assert again.face is None and again.sides is None
    assert again.notes == ("no face was found: metered where it was 2 frames ago",)


def test_a_face_beyond_the_edge_is_not_metered(tmp_path: Path) -> None:
    """Where the picture shows only one side of a face, or its eyes are at one place, the frame is metered."""
    frame = picture_frame(np.full((200, 300, 3), 90, np.uint8))
    for face in (face_at(1.03), replace(face_at(0.5), right_eye=face_at(0.5).left_eye)):
        reading = meter_frame(frame, FACE, Settings(), 1, faces=(face,))
        assert (reading.area, reading.face) == ("frame", None) and "no face" in reading.notes[0]


def test_the_largest_face_is_metered_or_the_one_chosen() -> None:
    """Without a choice the first, which is the largest; with one the nearest to its place, wherever that has gone."""
    large, left, right = face_at(0.5), face_at(0.2), face_at(0.8)
    found = (large, left, right)
    assert nearest(found, None) == large
    assert nearest(found, Point(0.75, 0.4)) == right
    assert nearest((), Point(0.5, 0.5)) is None


@given(st.lists(st.floats(0.1, 0.9), min_size=2, max_size=5, unique=True))
def test_the_key_goes_through_all_faces(places: list[float]) -> None:
    """From left to right, then from the left again: as many presses as there are faces come back to the first."""
    found = tuple(map(face_at, places))
    seen, face = [], found[0]
    for _ in found:
        face = next_face(found, face)
        assert face is not None
        seen.append(face)
    assert sorted(seen, key=places_of) == sorted(found, key=places_of) and face == found[0]


def places_of(face: Face) -> float:
    """How far right a face is."""
    return face.middle.x


def test_no_other_face_is_none() -> None:
    """One face, or none, leaves nothing to choose."""
    assert next_face((face_at(0.5),), face_at(0.5)) is None and next_face((), None) is None


@pytest.mark.parametrize("backdrop", [0.02, 0.9])
def test_the_picture_looked_at_is_alike_however_a_frame_is_exposed(tmp_path: Path, backdrop: float) -> None:
    """Three stops darker or one brighter, the face is drawn within a few codes of the same."""
    scene = portrait(sitters()["matplotlib"], Pose(400, backdrop=backdrop))
    pictures = []
    for offset in (-3.0, 0.0, 1.0):
        take(tmp_path / "p.dng", scene, offset, 100, 1)
        with open_frame(tmp_path / "p.dng") as frame:
            pictures.append(detection_picture(frame, 1).astype(float))
    face = (slice(150, 200), slice(295, 345))
    means = [float(picture[face].mean()) for picture in pictures]
    assert max(pictures[0].shape) == LONGEST_SIDE
    assert max(means) - min(means) < 8 and 40 < means[0] < 235


def test_the_strongest_of_overlapping_boxes_stay() -> None:
    """Of boxes that overlap by more than allowed the surest stays; others stay too, surest first."""
    boxes = np.array([[0.0, 0, 10, 10], [1, 0, 11, 10], [20, 0, 30, 10], [2, 2, 6, 6]])
    scores = np.array([0.8, 0.9, 0.7, 0.6])
    assert strongest(boxes, scores, 0.5).tolist() == [1, 2, 3]
    assert strongest(boxes, scores, 0.5, smaller=True).tolist() == [1, 2]
    assert strongest(boxes[:0], scores[:0], 0.5).tolist() == []


def test_weights_are_read_without_running_the_package() -> None:
    """Every tensor has the shape its file states; the three networks hold what they should."""
    sizes = [sum(tensor.size for tensor in read_weights(name).values()) for name in ("pnet", "rnet", "onet")]
    assert sizes == [6632, 100178, 389040]
    assert all(math.isfinite(float(tensor.sum())) for tensor in read_weights("onet").values())


@pytest.mark.parametrize("content", [b"", b"\x00", b"no model at all", b"\x3a\x02\x2a\x00"])
def test_what_is_no_file_of_weights_is_refused(content: bytes) -> None:
    """Rubbish is a ValueError, whatever it looks like."""
    with pytest.raises(ValueError, match="ONNX"):
        tensors(content)


def test_without_the_package_nothing_is_loaded(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The missing extra is named, and a capture is metered as a frame, with the way to install it."""
    scene = portrait(sitters()["matplotlib"], Pose(300))
    take(tmp_path / "p.dng", scene, 0.0, 100, 1)
    monkeypatch.setattr("tetherwatch.face.package.PACKAGE", "not_there_at_all")
    assert weights_folder() is None
    with pytest.raises(MissingExtraError):
        read_weights("pnet")
    outcome = read(tmp_path / "p.dng", FACE)
    assert outcome.reading.area == "frame" and "tetherwatch[face]" in outcome.notes[-1]


def test_the_detector_is_kept_between_captures() -> None:
    """Weights are read once in a process."""
    assert detector() is detector()
