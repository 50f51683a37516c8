"""Templates to finished pages.

Whatever a template prints is made visible (`text.display_name`) and then escaped; only what our own code marked as
finished HTML (`Markup`, from `plot` and from macros) passes unchanged.
"""

from functools import cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from tetherwatch import __version__
from tetherwatch.errors import UsageError
from tetherwatch.inplace import put_in_place
from tetherwatch.text import display_name

_LONGEST_TEXT = 2000
_SUFFIXES = (".html", ".htm")


def render(template: str, **values: object) -> str:
    """The page that a template (a file in `page/templates`, extending `base.html`) makes of the values.

    Raises jinja2.UndefinedError for a value the template needs and does not get.
    """
    return environment().get_template(template).render(version=__version__, **values)


def check_place(path: Path) -> None:
    """Raise UsageError if a page cannot go there: its name is another kind of file's, or the folder is missing."""
    if path.suffix.lower() not in _SUFFIXES:
        raise UsageError(f"{path} is not named like a page", "end the name in .html")
    if not path.parent.is_dir():
        raise UsageError(f"there is no folder {path.parent}", "make it, or name another place for the page")


def save(path: Path, page: str) -> None:
    """Write a page. Raises UsageError if it cannot go there."""
    check_place(path)
    try:
        put_in_place(path, page.encode("utf-8"))
    except OSError as error:
        raise UsageError(f"{path} cannot be written ({error.strerror})", "name a place you may write to") from None


@cache
def environment() -> Environment:
    """The templates of this part, with everything they print made visible and escaped."""
    return Environment(
        loader=PackageLoader("tetherwatch.page"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_visible,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _visible(value: object) -> object:
    """Called for each value before it is escaped."""
    if isinstance(value, Markup):
        return value
    return display_name(value, _LONGEST_TEXT) if isinstance(value, (str, Path)) else value
