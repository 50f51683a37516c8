"""Records survive being written down."""

import json
from datetime import datetime, timedelta, timezone
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given
from journal_records import frames

from tetherwatch.advise.records import Call, Finding, Predicted
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.session.codec import CODEC_ERRORS, fields_from_plain, from_plain, to_plain
from tetherwatch.session.records import FrameRecord

APART = {"capture", "thumbnail"}


@given(frames)
def test_a_frame_comes_back_from_json_as_it_was(frame: FrameRecord) -> None:
    """Whatever its metadata, reading, call, findings and landing."""
    plain = {name: to_plain(getattr(frame, name)) for name in FrameRecord.__slots__ if name not in APART}
    read = fields_from_plain(FrameRecord, json.loads(json.dumps(plain)))
    assert FrameRecord(capture=frame.capture, thumbnail=frame.thumbnail, **read) == frame


def test_text_that_is_no_text_comes_back() -> None:
    """Bytes of a lens name that no encoding explains."""
    metadata = Metadata(lens="50mm \udcff\ud800 \x1b[31m")
    assert from_plain(Metadata, json.loads(json.dumps(to_plain(metadata)))) == metadata


def test_a_moment_keeps_its_zone() -> None:
    """And one without a zone does not get one."""
    for zone in (None, timezone.utc, timezone(timedelta(hours=-9, minutes=-30))):
        metadata = Metadata(captured_at=datetime(2031, 5, 6, 7, 8, 9, 123000, zone))
        read = from_plain(Metadata, to_plain(metadata))
        assert read == metadata
        assert read.captured_at is not None
        assert read.captured_at.tzinfo == zone


def test_what_a_newer_program_added_takes_its_default() -> None:
    """And what it dropped is passed over."""
    assert from_plain(Call, {"kind": "hold", "reason": "Right as it is.", "colour": "green"}) == Call(
        "hold", "Right as it is."
    )


def test_keys_of_a_mapping_are_read_by_their_type() -> None:
    """Settings as text in JSON, as settings in the program."""
    locks: dict[Setting, float | None] = {Setting.ISO: 100.0, Setting.SHUTTER: None}
    assert from_plain(dict[Setting, float | None], json.loads(json.dumps(to_plain(locks)))) == locks


def test_whatever_maps_and_whatever_is_a_float_is_kept() -> None:
    """A mapping that cannot be changed, and a number that numpy made."""
    predicted = Predicted(np.float64(0.1), 2.0, 0.05, MappingProxyType({"g": 2.0}))
    assert json.dumps(to_plain(predicted)) == json.dumps(to_plain(Predicted(0.1, 2.0, 0.05, {"g": 2.0})))


def test_what_cannot_be_written_is_refused() -> None:
    """Rather than written in a form that is not read back."""
    with pytest.raises(TypeError):
        to_plain([Path("a")])


@pytest.mark.parametrize("plain", [{"kind": "haze"}, {"reason": 5}, [], None, {"kind": 1, "reason": 2, "setting": "x"}])
def test_what_is_no_record_is_refused(plain: object) -> None:
    """Missing fields and unknown settings raise one of the errors that are caught."""
    kind = Call if plain != {"kind": "haze"} else Finding
    with pytest.raises(CODEC_ERRORS):
        from_plain(kind, plain)


def test_a_prediction_by_channel_comes_back() -> None:
    """The record inside a record."""
    call = Call("darker", "Too bright.", Setting.LIGHT, "1/4", "1/8", -1.0, 0.0, Predicted(0.1, 2.0, 0.05, {"g": 2.0}))
    assert from_plain(Call, to_plain(call)) == call
