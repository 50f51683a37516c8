"""Whether a picture is of the same shot as the raw beside it."""

import shutil
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from program import shoot

from tetherwatch.frame.metadata import read_metadata
from tetherwatch.frame.twin import is_twin

pytest.importorskip("tifffile")
pytest.importorskip("imagecodecs")


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    """A raw and the JPEG of the same shot."""
    shoot(tmp_path, files="both")
    (picture,) = tmp_path.glob("*.JPG")
    return picture.with_suffix(".DNG"), picture


def test_the_jpeg_of_a_raw_is_its_twin(pair: tuple[Path, Path]) -> None:
    """By name, camera and moment; the raw is not one of itself."""
    raw, picture = pair
    assert is_twin(picture, read_metadata(picture))
    assert not is_twin(raw, read_metadata(raw))


def test_another_shot_of_the_same_name_is_none(pair: tuple[Path, Path]) -> None:
    """Another moment, another camera, or a moment that is not known."""
    _, picture = pair
    said = read_metadata(picture)
    assert said.captured_at is not None
    later = said.captured_at + timedelta(seconds=2)
    for changes in ({"captured_at": later}, {"camera": "another"}, {"captured_at": None}):
        assert not is_twin(picture, replace(said, **changes))  # type: ignore[arg-type]


def test_without_a_raw_beside_it_there_is_none(pair: tuple[Path, Path], tmp_path: Path) -> None:
    """Only the name's own raw counts, and one that can be read."""
    raw, picture = pair
    said = read_metadata(picture)
    shutil.move(raw, tmp_path / "other.DNG")
    assert not is_twin(picture, said)
    picture.with_suffix(".nef").write_bytes(b"no raw")
    assert not is_twin(picture, said)
