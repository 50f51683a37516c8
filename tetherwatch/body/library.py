"""The user's body profiles: listed, named, kept."""

import re
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from tetherwatch.body.bodyfile import body_text, parse_body
from tetherwatch.body.places import bodies_folder
from tetherwatch.body.records import Body
from tetherwatch.errors import BodyError, Mistake, UsageError
from tetherwatch.inplace import put_in_place

SUFFIX = ".toml"
_MOST_BYTES = 1 << 18
_NAME = re.compile(r"(?!(?:con|prn|aux|nul|com\d|lpt\d)$)[a-z0-9]+(?:-[a-z0-9]+)*")
"""A name that every system takes for a file; the words left out are devices on some."""

_LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class Library:
    """The profiles that could be read, by name, and what is wrong with the others."""

    bodies: tuple[Body, ...] = ()
    broken: tuple[BodyError, ...] = ()


def profile_names() -> tuple[str, ...]:
    """The names of all profiles, readable or not, in alphabetical order."""
    return tuple(path.stem for path in _paths())


def read_library() -> Library:
    """All profiles of the user. Never raises: what cannot be read is carried along."""
    bodies, broken = [], []
    for path in _paths():
        try:
            bodies.append(_body_at(path))
        except BodyError as error:
            broken.append(error)
    return Library(tuple(bodies), tuple(broken))


def body_named(name_or_path: str) -> Body:
    """A profile by its name, or a profile file by its path. Raises UsageError if there is none, or BodyError."""
    places = ([_place(name_or_path)] if name_or_path in profile_names() else []) + [Path(name_or_path)]
    for path in places:
        with suppress(OSError, ValueError):
            if path.is_file():
                return _body_at(path)
    raise UsageError(
        f"there is no body profile {name_or_path}", "see 'tetherwatch body list', or give the path of a profile"
    )


def check_name(name: str) -> None:
    """Raise UsageError unless a profile may be called so."""
    if not _is_name(name):
        raise UsageError(
            f"a body profile cannot be called {name!r}",
            f'use up to {_LONGEST_NAME} small letters and digits, with "-" between words: "q24-second"',
        )


def save_body(body: Body, replace: bool = False) -> Path:
    """Write a profile to where it is found by its name, all at once, and return that place.

    Raises UsageError for a name that cannot be one, for a profile that is there already unless `replace`, and where it
    cannot be written; BodyError if the profile itself has mistakes.
    """
    check_name(body.name)
    path = _place(body.name)
    if path.exists() and not replace:
        raise UsageError(f"there is a body profile {body.name} already", "choose another name, or replace it")
    text = body_text(body)
    parse_body(text, str(path), body.name)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        put_in_place(path, text.encode("utf-8", "replace"))
    except OSError as error:
        raise UsageError(
            f"body profile {path} cannot be written: {error.strerror}", "make that folder writable"
        ) from None
    return path


def _is_name(name: str) -> bool:
    return len(name) <= _LONGEST_NAME and _NAME.fullmatch(name) is not None


def _place(name: str) -> Path:
    return bodies_folder() / f"{name}{SUFFIX}"


def _paths() -> list[Path]:
    with suppress(OSError):
        return sorted(path for path in bodies_folder().glob(f"*{SUFFIX}") if not path.name.startswith("."))
    return []


def _body_at(path: Path) -> Body:
    return parse_body(_text(path), str(path), path.stem)


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
        if len(data) > _MOST_BYTES:
            raise ValueError("too large to be one")
        return data.decode("utf-8-sig")
    except OSError as error:
        what = f"cannot be read: {error.strerror}"
    except UnicodeDecodeError:
        what = "not text: save it as UTF-8"
    except ValueError as error:
        what = str(error)
    raise BodyError(str(path), (Mistake("", None, what),))
