"""Files that are complete from the first moment."""

from pathlib import Path

import pytest

from tetherwatch.inplace import place_for, put_in_place


def test_content_takes_the_place_of_what_was_there(tmp_path: Path) -> None:
    """A file holds the new content and nothing else lies beside it, whether there was one before or not."""
    path = tmp_path / "a.toml"
    for content in (b"first", b"2nd"):
        put_in_place(path, content)
        assert path.read_bytes() == content
        assert list(tmp_path.iterdir()) == [path]


def test_nothing_is_seen_before_the_end(tmp_path: Path) -> None:
    """While a file is written the old one stands, and the new one has a hidden name."""
    path = tmp_path / "a.toml"
    put_in_place(path, b"old")
    with place_for(path) as unfinished:
        unfinished.write_bytes(b"half")
        assert path.read_bytes() == b"old"
        assert unfinished.parent == tmp_path
        assert unfinished.name.startswith(".")
    assert path.read_bytes() == b"half"


def test_what_fails_leaves_the_old_file_alone(tmp_path: Path) -> None:
    """If writing raises, the error comes through, the old file is as it was, and nothing else is left behind."""
    path = tmp_path / "a.toml"
    put_in_place(path, b"old")
    with pytest.raises(ZeroDivisionError), place_for(path) as unfinished:
        unfinished.write_bytes(b"half")
        raise ZeroDivisionError
    with pytest.raises(OSError, match="folder"):
        put_in_place(tmp_path / "no folder" / "a.toml", b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
