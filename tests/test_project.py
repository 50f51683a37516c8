"""The project as a whole: its top level, its wheel, and which part may import which."""

import ast
import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
import tomli

import tetherwatch

PROJECT = Path(__file__).resolve().parent.parent
PACKAGE = PROJECT / "tetherwatch"
TOP_LEVEL = set("README.md DEVELOPERS.md CHANGELOG.md LICENSE pyproject.toml tetherwatch config tests scripts".split())

LAYERS = tuple("cli report screen session watch setups advise ladder page face meter frame body exposure".split())
"""Each part may import those to its right."""
MAY_IMPORT = {part: set(LAYERS[rank:]) for rank, part in enumerate(LAYERS)} | {"rehearse": {"rehearse", "exposure"}}
MAY_IMPORT["cli"].add("rehearse")
FOR_ALL = {"", "errors", "inplace", "tables", "text", "toml"}
"""Modules at the top of the package that every part may import; "" is the package itself and its config."""


def tracked_files() -> list[str]:
    """Paths git knows, relative to the project."""
    if shutil.which("git") is None or not (PROJECT / ".git").exists():
        pytest.skip("the list of files comes from git, and this is no git checkout")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=PROJECT, capture_output=True, check=True).stdout
    return [os.fsdecode(name) for name in listed.split(b"\0") if name]


def imports(module: Path) -> Iterator[tuple[int, str]]:
    """Line and dotted name of everything a module imports, wherever in it."""
    for node in ast.walk(ast.parse(module.read_bytes())):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            source = "." * node.level + (node.module or "")
            yield from ((node.lineno, f"{source}.{alias.name}") for alias in node.names)


def part_of(dotted: str) -> str:
    """The part of the package a dotted name belongs to; "" if it is the package itself."""
    first = [*dotted.split("."), ""][1]
    return first if (PACKAGE / first).is_dir() or (PACKAGE / f"{first}.py").is_file() else ""


MODULES = sorted(PACKAGE.rglob("*.py"))
NAMES = [module.relative_to(PACKAGE).as_posix() for module in MODULES]


def test_the_top_level_holds_what_belongs_there() -> None:
    """The top of the project has its nine entries and files that start with a dot, nothing else."""
    found = {name.split("/")[0] for name in tracked_files()}
    assert {name for name in found if not name.startswith(".")} == TOP_LEVEL


@pytest.mark.parametrize("module", MODULES, ids=NAMES)
def test_imports_go_downwards_only(module: Path) -> None:
    """A part imports itself and the parts below it, by absolute names; the simulator imports only exposure."""
    part = module.relative_to(PACKAGE).parts[0]
    allowed = MAY_IMPORT.get(part, set(LAYERS) if part == "__main__.py" else set()) | FOR_ALL
    wrong = [
        f"{module.name}:{line} imports {dotted}"
        for line, dotted in imports(module)
        if dotted.startswith(".") or (dotted.split(".")[0] == "tetherwatch" and part_of(dotted) not in allowed)
    ]
    assert not wrong


@pytest.mark.parametrize("module", MODULES, ids=NAMES)
def test_no_module_reaches_for_anothers_private_names(module: Path) -> None:
    """What starts with an underscore is imported nowhere else in the package."""
    ours = [dotted for _, dotted in imports(module) if dotted.startswith("tetherwatch.")]
    private = [dotted for dotted in ours if re.search(r"\._(?!_)", dotted)]
    assert not private


def test_every_part_has_its_place_in_the_order() -> None:
    """A new folder in the package must be given its place among the layers above."""
    folders = {module.parent.name for module in MODULES if module.parent.parent == PACKAGE}
    assert folders <= set(MAY_IMPORT)


@pytest.mark.parametrize("module", MODULES, ids=NAMES)
def test_every_module_says_what_it_is(module: Path) -> None:
    """Each module, and so each folder of the package, opens with a docstring."""
    assert ast.get_docstring(ast.parse(module.read_bytes()))


def test_the_version_is_stated_once_and_the_same() -> None:
    """pyproject.toml and the package carry the same version."""
    assert tomli.loads((PROJECT / "pyproject.toml").read_text("utf-8"))["project"]["version"] == tetherwatch.__version__


def test_every_folder_of_code_is_packaged() -> None:
    """pyproject.toml lists each package there is, and config for the shipped plans."""
    listed = tomli.loads((PROJECT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["packages"]
    folders = {".".join(module.parent.relative_to(PROJECT).parts) for module in MODULES}
    assert sorted(listed) == sorted(folders | {"tetherwatch.config"})


def test_the_wheel_holds_code_types_and_plans(tmp_path: Path) -> None:
    """A wheel built from the sources has every module, the marker for type checkers, every plan and page template."""
    source = tmp_path / "source"
    for name in ("tetherwatch", "config"):
        shutil.copytree(PROJECT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(PROJECT / name, source / name)
    command = ["wheel", ".", "--no-deps", "--no-build-isolation", "--disable-pip-version-check", "-w", str(tmp_path)]
    built = subprocess.run(
        [sys.executable, "-m", "pip", *command], cwd=source, capture_output=True, text=True, check=False
    )
    assert built.returncode == 0, built.stdout + built.stderr
    (wheel,) = tmp_path.glob("tetherwatch-*.whl")
    plans = {f"tetherwatch/config/plans/{plan.name}" for plan in (PROJECT / "config" / "plans").glob("*.toml")}
    templates = {f"tetherwatch/page/templates/{each.name}" for each in (PACKAGE / "page" / "templates").iterdir()}
    assert plans
    assert templates
    assert {f"tetherwatch/{name}" for name in NAMES} | plans | templates | {"tetherwatch/py.typed"} <= set(
        zipfile.ZipFile(wheel).namelist()
    )
