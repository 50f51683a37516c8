"""The one entry: what every kind of file becomes."""

import os
import struct
from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
import pytest
from frame_files import BAYER, LEVELS, coloured, cut, write_picture, write_raw

from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.load import open_frame
from tetherwatch.frame.preview import read_preview
from tetherwatch.rehearse.dng import write_dng

PREVIEW_CODE = 118


def _fault(path: Path) -> Fault:
    with pytest.raises(CaptureError) as caught, open_frame(path):
        pass
    return caught.value.fault


def _raw(path: Path, preview: tuple[int, int] | None = (320, 240)) -> Path:
    write_raw(path, coloured(120, 180, BAYER), preview=preview)
    return path


def _zeros(path: Path, preview: tuple[int, int] | None = (320, 240)) -> Path:
    write_raw(path, np.zeros((120, 180), np.uint16), preview=preview)
    return path


@pytest.mark.parametrize("compressed", [False, True])
def test_simulated_capture(tmp_path: Path, compressed: bool) -> None:
    """A plain and a compressed raw give the same exact codes."""
    pytest.importorskip("tifffile")
    path = tmp_path / "a.dng"
    mosaic = np.random.default_rng(6).integers(500, 16000, (120, 180), np.uint16)
    preview = np.full((120, 180, 3), PREVIEW_CODE, np.uint8)
    write_dng(path, mosaic, black=512, white=16383, compressed=compressed, preview=preview, neutral=(0.5, 1, 0.8))
    with open_frame(path) as frame:
        for site in frame.sites:
            assert (site.values == mosaic[site.top :: 2, site.left :: 2]).all()
        assert [site.channel for site in frame.sites] == ["r", "g", "g", "b"]
        assert frame.neutral == pytest.approx({"r": 2.0, "g": 1.0, "b": 1.25})


@pytest.mark.parametrize("name", ["a.dng", "a.tif", "a.jpg", "a"])
def test_raw_is_known_whatever_its_name(tmp_path: Path, name: str) -> None:
    """The content decides: a DNG under another name is not mistaken for its small preview."""
    with open_frame(_raw(tmp_path / "x.dng").rename(tmp_path / name)) as frame:
        assert (frame.source, frame.height) == ("raw", 120)


def test_picture_is_known_whatever_its_name(tmp_path: Path) -> None:
    """A JPEG named like a raw is a finished picture."""
    with open_frame(write_picture(tmp_path / "a.jpg").rename(tmp_path / "a.dng")) as frame:
        assert frame.source == "jpeg"


def test_frame_lives_in_its_block(tmp_path: Path) -> None:
    """An error of the caller passes through unchanged, and the file is free afterwards."""
    path = _raw(tmp_path / "a.dng")
    with pytest.raises(OSError, match="of the caller"), open_frame(path):
        raise OSError("of the caller")
    path.unlink()
    assert not path.exists()


def test_all_zero_raw_is_read_from_its_preview(tmp_path: Path) -> None:
    """Data of zeros give the preview's reading, and both the fault and a sentence say so."""
    with open_frame(_zeros(tmp_path / "a.dng")) as frame:
        assert (frame.source, frame.curve, frame.fault) == ("preview", "sRGB", Fault.BLANK)
        assert Fault.BLANK.problem in frame.notes[0]
        assert all(abs(int(site.values[0, 0]) - PREVIEW_CODE) <= 1 for site in frame.sites)


@pytest.mark.parametrize("preview", [None, (128, 96)])
def test_all_zero_raw_without_a_usable_preview(tmp_path: Path, preview: tuple[int, int] | None) -> None:
    """Without a preview wide enough to meter, the fault is all there is."""
    assert _fault(_zeros(tmp_path / "a.dng", preview)) is Fault.BLANK


@pytest.mark.parametrize("part", [0.1, 0.5, 0.99])
def test_cut_raw(tmp_path: Path, part: float, capfd: pytest.CaptureFixture[str]) -> None:
    """A cut raw is read from its preview if that is whole, else refused; the decoder's own words go nowhere."""
    path = tmp_path / "a.dng"
    write_raw(path, coloured(400, 600, BAYER))
    with open_frame(cut(path, part)) as frame:
        assert (frame.source, frame.fault) == ("preview", Fault.CUT_SHORT)
    write_raw(path, coloured(400, 600, BAYER), preview=None)
    assert _fault(cut(path, part)) is Fault.CUT_SHORT
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("part", [0.1, 0.5, 0.99])
@pytest.mark.parametrize("compressed", [False, True])
def test_cut_simulated_capture_is_never_taken_for_whole(tmp_path: Path, part: float, compressed: bool) -> None:
    """However a raw is stored and wherever it is cut, it is not metered as a raw."""
    pytest.importorskip("tifffile")
    path = tmp_path / "a.dng"
    mosaic = np.random.default_rng(6).integers(500, 16000, (240, 360), np.uint16)
    preview = np.full((240, 360, 3), PREVIEW_CODE, np.uint8)
    write_dng(path, mosaic, black=512, white=16383, compressed=compressed, preview=preview)
    cut(path, part)
    try:
        with open_frame(path) as frame:
            assert (frame.source, frame.fault) == ("preview", Fault.CUT_SHORT)
    except CaptureError as error:
        assert error.fault is Fault.CUT_SHORT


def test_capture_cut_before_its_data_never_shows_an_earlier_one(tmp_path: Path) -> None:
    """The decoder keeps silent about it and shows what its memory held: the capture read before, as raw or preview."""
    pytest.importorskip("tifffile")
    mosaic = np.random.default_rng(1).integers(600, 9000, (100, 150), np.uint16)
    preview = np.tile(np.arange(180, dtype=np.uint8)[:, None] % 40, (120, 1, 3))
    whole = tmp_path / "whole.dng"
    write_dng(whole, mosaic, black=512, white=16383, compressed=True, preview=preview)
    content = whole.read_bytes()
    for length in range(600, 6000, 25):
        with open_frame(whole):
            assert read_preview(whole, Fault.UNSUPPORTED) is not None
        part = tmp_path / "part.dng"
        part.write_bytes(content[:length])
        try:
            with open_frame(part) as frame:
                assert (frame.source, frame.fault) == ("preview", Fault.CUT_SHORT)
                assert content.index(b"\xff\xd9") + 2 <= length  # the end of the preview's JPEG
        except CaptureError as error:
            assert error.fault in (Fault.CUT_SHORT, Fault.NOT_A_CAPTURE), length


def test_raw_unknown_to_the_decoder(tmp_path: Path) -> None:
    """A raw with more planes than the decoder knows is read from its preview, or refused as unsupported."""
    path = tmp_path / "a.dng"
    stack = np.full((120, 180, 4), 4000, np.uint16)
    write_raw(path, stack)
    with open_frame(path) as frame:
        assert (frame.source, frame.fault) == ("preview", Fault.UNSUPPORTED)
    write_raw(path, stack, preview=None)
    assert _fault(path) is Fault.UNSUPPORTED


def test_raw_of_impossible_size_is_refused_before_unpacking(tmp_path: Path) -> None:
    """A raw that claims more pixels than the limit is refused, preview or not."""
    path = _raw(tmp_path / "a.dng")
    content = path.read_bytes()
    for tag, side in ((256, 180), (257, 120)):
        small, large = (struct.pack("<HHII", tag, 4, 1, value) for value in (side, 40_000))
        assert small in content
        content = content.replace(small, large)
    path.write_bytes(content.replace(struct.pack("<II", 120, 180), struct.pack("<II", 40_000, 40_000)))
    assert _fault(path) is Fault.TOO_LARGE


RUBBISH: dict[str, Callable[[], bytes]] = {
    "text.jpg": lambda: b"this is text, not a picture\n" * 40,
    "text.dng": lambda: b"this is text, not a picture\n" * 40,
    "random.dng": lambda: Random(7).randbytes(200_000),
    "random.tif": lambda: Random(8).randbytes(5_000),
}


@pytest.mark.parametrize("name", RUBBISH)
def test_rubbish_is_no_capture(tmp_path: Path, name: str) -> None:
    """Text and noise are no captures, whatever their name says."""
    path = tmp_path / name
    path.write_bytes(RUBBISH[name]())
    assert _fault(path) is Fault.NOT_A_CAPTURE


def test_one_byte_of_a_raw(tmp_path: Path) -> None:
    """What has only begun to arrive is cut short, not rubbish."""
    (tmp_path / "a.dng").write_bytes(b"I")
    assert _fault(tmp_path / "a.dng") is Fault.CUT_SHORT


def test_empty_missing_folder_and_dangling(tmp_path: Path) -> None:
    """An empty file, no file, a folder and a link to nowhere are told apart without opening a decoder."""
    (tmp_path / "empty.dng").touch()
    (tmp_path / "folder.dng").mkdir()
    assert _fault(tmp_path / "empty.dng") is Fault.EMPTY
    assert _fault(tmp_path / "folder.dng") is Fault.NOT_A_FILE
    assert _fault(tmp_path / "gone.dng") is Fault.VANISHED
    assert _fault(tmp_path / "empty.dng" / "a.dng") is Fault.VANISHED
    try:
        (tmp_path / "link.dng").symlink_to(tmp_path / "nowhere")
    except OSError:
        pytest.skip("this account may not make links")
    assert _fault(tmp_path / "link.dng") is Fault.VANISHED


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_pipe_is_never_opened(tmp_path: Path) -> None:
    """A named pipe without a writer would block whoever opened it."""
    path = tmp_path / "pipe.dng"
    os.mkfifo(path)
    assert _fault(path) is Fault.NOT_A_FILE


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="permissions do not bind this account")
def test_unreadable_file(tmp_path: Path) -> None:
    """A file without read permission is said to be that."""
    path = _raw(tmp_path / "a.dng")
    path.chmod(0)
    assert _fault(path) is Fault.NO_ACCESS


@pytest.mark.parametrize("name", ["日本 é.dng", "two\nlines.dng", "\x1b[31m.dng", "emoji 📷.dng"])
def test_strange_names(tmp_path: Path, name: str) -> None:
    """Any name the file system takes is read."""
    try:
        path = _raw(tmp_path / "a.dng").rename(tmp_path / name)
    except OSError:
        pytest.skip("this file system does not take that name")
    with open_frame(path) as frame:
        assert frame.source == "raw"


@pytest.mark.parametrize("write", [_raw, _zeros])
def test_name_that_is_no_text(tmp_path: Path, write: Callable[[Path], Path]) -> None:
    """A name that is no text in any encoding is read like any other, raw data and preview alike."""
    try:
        path = write(tmp_path / "a.dng").rename(Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.dng")))
    except (OSError, UnicodeError):
        pytest.skip("this file system takes text names only")
    with open_frame(path) as frame:
        assert frame.source == ("raw" if write is _raw else "preview")


def test_reading_leaves_no_trace(tmp_path: Path) -> None:
    """Content and time of a capture stay, and nothing appears beside it."""
    path = _raw(tmp_path / "a.dng")
    before = path.read_bytes(), path.stat().st_mtime_ns
    with open_frame(path) as frame:
        assert {site.channel for site in frame.sites} == set(LEVELS)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert list(tmp_path.iterdir()) == [path]
