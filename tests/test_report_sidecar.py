"""XMP beside captures: what it says, that it is well-formed, and that nothing that was there is touched."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_records import CARD, HOLD, MISFIRE, entry

from tetherwatch.report.records import FrameEntry
from tetherwatch.report.sidecar import REJECTED, Mark, mark_of, packet, write_sidecars

XMP = "{http://ns.adobe.com/xap/1.0/}"


def shot(folder: Path, name: str, frame: FrameEntry) -> FrameEntry:
    """The frame of a capture that lies there."""
    path = folder / name
    path.write_bytes(b"a capture")
    return replace(frame, path=path)


def values(text: str) -> dict[str, str | None]:
    """The properties of a packet, as an XML reader finds them."""
    return {each.tag.removeprefix(XMP): each.text for each in ElementTree.fromstring(text).iter() if XMP in each.tag}


@pytest.mark.parametrize(
    ("frame", "mark"),
    [
        (entry(1, -5.0, MISFIRE), Mark("Misfire", REJECTED)),
        (entry(1, -5.0, MISFIRE, clipped=9.0), Mark("Misfire", REJECTED)),
        (entry(1, clipped=0.6), Mark("Clipped")),
        (entry(1, clipped=0.5), None),
        (entry(1, -0.5, CARD), None),
        (entry(1, -2.0, HOLD), None),
    ],
)
def test_what_is_marked(frame: FrameEntry, mark: Mark | None) -> None:
    """Misfires are rejected, clipped frames labelled; a card is needed and no frame is marked for its offset."""
    assert mark_of(frame) == mark


def test_sidecars_are_written_beside_their_captures(captures: Path) -> None:
    """One for each marked frame, named like it; the captures and the unmarked frames have nothing done to them."""
    frames = [
        shot(captures, "a.b.DNG", entry(1, -5.0, MISFIRE)),
        shot(captures, "c.jpg", entry(2, clipped=3.0)),
        shot(captures, "d.DNG", entry(3)),
    ]
    before = {frame.path: frame.path.stat() for frame in frames}
    assert list(write_sidecars(frames)) == [(captures / "a.b.xmp", "written"), (captures / "c.xmp", "written")]
    assert {path: path.stat() for path in before} == before
    assert len(list(captures.iterdir())) == 5
    assert values((captures / "a.b.xmp").read_text("utf-8")) == {"Rating": "-1", "Label": "Misfire"}
    assert values((captures / "c.xmp").read_text("utf-8")) == {"Label": "Clipped"}


@pytest.mark.parametrize("name", ["a.xmp", "a.XMP"])
def test_a_sidecar_that_is_there_is_left(captures: Path, name: str) -> None:
    """Another program's ratings are never lost, however it spells the ending."""
    frame = shot(captures, "a.DNG", entry(1, -5.0, MISFIRE))
    (captures / name).write_text("five stars")
    assert [fate for _, fate in write_sidecars([frame])] == ["there already"]
    assert (captures / name).read_text() == "five stars" and len(list(captures.iterdir())) == 2


def test_a_second_time_nothing_is_written(captures: Path) -> None:
    """Our own are left too: their user may have changed them."""
    frame = shot(captures, "a.DNG", entry(1, clipped=9.0))
    assert [fate for _ in range(2) for _, fate in write_sidecars([frame])] == ["written", "there already"]


@pytest.mark.skipif(sys.platform == "win32", reason="making symbolic links needs a right of its own there")
def test_a_link_is_not_followed(captures: Path, tmp_path: Path) -> None:
    """A sidecar that points nowhere does not make us write elsewhere."""
    frame = shot(captures, "a.DNG", entry(1, -5.0, MISFIRE))
    (captures / "a.xmp").symlink_to(tmp_path / "elsewhere")
    assert [fate for _, fate in write_sidecars([frame])] == ["there already"]
    assert not (tmp_path / "elsewhere").exists()


@contextmanager
def full_disk() -> Iterator[None]:
    """No file may grow beyond ten bytes."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (10, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of files there")
def test_half_a_sidecar_is_none(captures: Path) -> None:
    """Where there is no room, that is said and nothing is left behind."""
    frame = shot(captures, "a.DNG", entry(1, -5.0, MISFIRE))
    with full_disk():
        fates = [fate for _, fate in write_sidecars([frame])]
    assert fates == ["not writable"] and not (captures / "a.xmp").exists()


def test_a_capture_that_is_gone_gets_none(captures: Path) -> None:
    """A file about nothing would be litter, and a folder that is gone is not made."""
    frame = shot(captures, "a.DNG", entry(1, -5.0, MISFIRE))
    frame.path.unlink()
    assert [fate for _, fate in write_sidecars([frame])] == ["capture gone"]
    captures.rmdir()
    assert [fate for _, fate in write_sidecars([frame])] == ["capture gone"]
    assert not captures.exists()


def test_the_packet_is_as_the_standard_says() -> None:
    """Begin with its mark and id, end, about nothing, in UTF-8 (ISO 16684-1, 7)."""
    text = packet(Mark("Clipped"))
    assert text.startswith('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n')
    assert text.endswith('<?xpacket end="w"?>\n')
    (about,) = ElementTree.fromstring(text).iter("{http://www.w3.org/1999/02/22-rdf-syntax-ns#}Description")
    assert about.attrib == {"{http://www.w3.org/1999/02/22-rdf-syntax-ns#}about": ""}


@given(st.text(st.characters(categories=["L", "N", "P", "S", "Zs"]), min_size=1))
def test_a_label_is_text(label: str) -> None:
    """Whatever it is, it stays one property."""
    assert values(packet(Mark(label, 3))) == {"Rating": "3", "Label": label}


def test_another_program_reads_it(captures: Path) -> None:
    """The metadata library that reads captures finds rating and label in the sidecar."""
    import exiv2

    (path, fate), *_ = write_sidecars([shot(captures, "a.DNG", entry(1, -5.0, MISFIRE))])
    assert fate == "written"
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    found = {datum.key(): datum.toString() for datum in image.xmpData()}
    assert found == {"Xmp.xmp.Rating": "-1", "Xmp.xmp.Label": "Misfire"}
