"""The user's profiles: listed, named, kept."""

from dataclasses import replace
from pathlib import Path

import pytest
from body_records import BODY

from tetherwatch.body.library import body_named, read_library, save_body
from tetherwatch.body.places import bodies_folder
from tetherwatch.errors import BodyError, UsageError


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


def test_a_profile_that_was_put_there_by_hand_is_found_by_its_name() -> None:
    """Whatever its file is called; a name never leads out of the folder of profiles."""
    path = save_body(BODY)
    path.rename(path.with_name("My Body.toml"))
    assert body_named("My Body") == replace(BODY, name="My Body")
    with pytest.raises(UsageError):
        body_named("../bodies/My Body")


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
