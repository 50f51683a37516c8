"""Where plans come from: the shipped ones by name, the user's own by path."""

from importlib import import_module
from pathlib import Path

from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Plan
from tetherwatch.errors import UsageError

_SUFFIX = ".toml"
_MOST_BYTES = 1 << 16
_PLANS = Path(import_module("tetherwatch.config").__path__[0], "plans")
"""Found through the package, which lies elsewhere in a checkout; `importlib.resources` takes 5 ms to load."""


def shipped_names() -> tuple[str, ...]:
    """Names of the shipped plans, in alphabetical order."""
    names = (entry.name for entry in _PLANS.iterdir())
    return tuple(sorted(name.removesuffix(_SUFFIX) for name in names if name.endswith(_SUFFIX)))


def plan_text(name_or_path: str) -> str:
    """The text of a shipped plan or of a plan file. Raises UsageError if there is none or it cannot be read."""
    if name_or_path in shipped_names():
        return (_PLANS / f"{name_or_path}{_SUFFIX}").read_text(encoding="utf-8")
    return _file_text(name_or_path)


def _file_text(name: str) -> str:
    try:
        with Path(name).open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except (FileNotFoundError, ValueError):
        raise UsageError(
            f"there is no plan {name}", "see 'tetherwatch plan list', or give the path of a plan file"
        ) from None
    except OSError as error:
        raise UsageError(f"plan file {name} cannot be read: {error.strerror}", "name a file you may read") from None
    if len(data) > _MOST_BYTES:
        raise UsageError(f"plan file {name} is too large to be one", "name a plan file (TOML)")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UsageError(f"plan file {name} is not text", "save it as UTF-8 text") from None


def load_plan(name_or_path: str, ceiling_iso: float | None = None) -> Plan:
    """Load a shipped plan by name or a plan file by path. Raises UsageError or PlanError."""
    return parse_plan(plan_text(name_or_path), name_or_path, ceiling_iso)
