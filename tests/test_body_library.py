"""The user's profiles: kept, named, and found for a capture."""

from dataclasses import replace
from pathlib import Path

import pytest
from body_records import BODY

from tetherwatch.body.library import Bodies, body_named, fresh, read_library, save_body
from tetherwatch.body.places import bodies_folder
from tetherwatch.errors import BodyError, UsageError

MODEL = replace(BODY, name="any-q24", serial=None)
SECOND = replace(BODY, name="q24-second", serial="HQ-2")
OTHER = replace(BODY, name="halden", camera="Halden K2", serial="77")


@pytest.fixture(autouse=True)
def _config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TETHERWATCH_CONFIG", str(tmp_path / "config"))


def test_a_saved_profile_is_found_by_its_name_and_its_file(tmp_path: Path) -> None:
    """Saving makes the folder, leaves nothing unfinished, and returns the place it can be read from."""
    path = save_body(BODY)
    assert path == tmp_path / "config" / "bodies" / "harrow-q24.toml"
    assert [entry.name for entry in path.parent.iterdir()] == ["harrow-q24.toml"]
    assert body_named("harrow-q24") == body_named(str(path)) == BODY
    assert read_library().bodies == (BODY,)


def test_a_profile_is_replaced_only_when_asked() -> None:
    """A second profile of the name is refused and the first stays, unless it is to be replaced."""
    save_body(BODY)
    with pytest.raises(UsageError, match="already"):
        save_body(replace(BODY, serial="other"))
    assert body_named("harrow-q24") == BODY
    save_body(replace(BODY, serial="other"), replace=True)
    assert body_named("harrow-q24").serial == "other"


@pytest.mark.parametrize("name", ["", "../x", "a/b", "Q24", "con", "lpt1", "a--b", "a b", "ä", "x" * 41, ".x"])
def test_a_name_that_is_no_files_name_everywhere_is_refused(name: str) -> None:
    """Names that some system would not take, or that lead elsewhere, are refused before anything is written."""
    with pytest.raises(UsageError, match="cannot be called"):
        save_body(replace(BODY, name=name))
    assert not bodies_folder().exists()


def test_a_profile_that_could_not_be_read_again_is_not_written() -> None:
    """A body with an impossible figure is refused with the mistake named."""
    with pytest.raises(BodyError):
        save_body(replace(BODY, camera=""))
    assert not bodies_folder().exists()


@pytest.mark.parametrize("name", ["nobody", "nobody.toml", "a\0b", "x" * 5000])
def test_a_profile_that_is_not_there_is_said(name: str) -> None:
    """A name or path without a profile gives one clear answer."""
    with pytest.raises(UsageError, match="there is no body profile"):
        body_named(name)


def test_a_broken_profile_costs_only_itself() -> None:
    """Profiles that cannot be read are carried along with their mistakes; the others are there."""
    folder = save_body(BODY).parent
    (folder / "bad.toml").write_text("camera = 5\n")
    (folder / "bytes.toml").write_bytes(b"\xff\xfe")
    (folder / "large.toml").write_bytes(b"#" * 300_000)
    (folder / "folder.toml").mkdir()
    found = read_library()
    assert found.bodies == (BODY,)
    assert [Path(error.source).name for error in found.broken] == [
        "bad.toml",
        "bytes.toml",
        "folder.toml",
        "large.toml",
    ]
    with pytest.raises(BodyError):
        body_named("bad")


def test_without_a_folder_there_are_no_profiles() -> None:
    """A user who never measured a body has an empty library, not an error."""
    assert read_library().bodies == () == read_library().broken


@pytest.mark.parametrize(
    ("known", "preferred", "camera", "serial", "name", "by"),
    [
        ([BODY, SECOND, MODEL], None, "Harrow Q24", "HQ-2", "q24-second", "by camera and serial"),
        ([MODEL, BODY], None, "Harrow Q24", "HQ-204417", "harrow-q24", "by camera and serial"),
        ([MODEL, OTHER], None, "Harrow Q24", "HQ-9", "any-q24", "by camera alone"),
        ([BODY, OTHER], None, "Harrow Q24", None, "harrow-q24", "by camera alone"),
        ([BODY], None, "Harrow Q24", "HQ-9", None, "no profile"),
        ([BODY, SECOND], None, "Harrow Q24", None, None, "several"),
        ([BODY, SECOND], "q24-second", "Harrow Q24", None, "q24-second", "as chosen"),
        ([BODY, MODEL], "any-q24", "Harrow Q24", "HQ-204417", "any-q24", "as chosen"),
        ([BODY, OTHER], "halden", "Harrow Q24", "HQ-204417", "harrow-q24", "by camera and serial"),
        ([BODY], "harrow-q24", "Harrow Q24", "HQ-9", None, "no profile"),
        ([BODY], None, None, None, None, "no profile"),
        ([BODY], "harrow-q24", None, None, "harrow-q24", "as chosen"),
        ([], None, "Harrow Q24", "HQ-204417", None, "no profile"),
    ],
)
def test_the_body_of_a_capture(
    known: list[object], preferred: str | None, camera: str | None, serial: str | None, name: str | None, by: str
) -> None:
    """The chosen one where it fits, then the exact serial, then the only one of the camera; never another body's."""
    found = Bodies(tuple(known), preferred).of(camera, serial)  # type: ignore[arg-type]
    assert (found.body.name if found.body else None) == name
    assert by in found.by


def test_a_kept_body_stays_until_its_name_is_taken_anew() -> None:
    """What a session knew is used while no profile has its name; then the profile is."""
    assert fresh([OTHER], BODY) == (OTHER, BODY)
    assert fresh([replace(BODY, serial="new")], BODY) == (replace(BODY, serial="new"),)
    assert fresh([OTHER], None) == (OTHER,)
