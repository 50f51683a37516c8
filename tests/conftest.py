"""Settings that every test shares."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("dev", deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("dev"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "dev")


@pytest.fixture(scope="session", autouse=True)
def _data_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Sessions and profiles of the programs under test are kept in folders of the tests, not in the user's."""
    for name in ("TETHERWATCH_DATA", "TETHERWATCH_CONFIG"):
        os.environ[name] = str(tmp_path_factory.mktemp(name.lower()))
    yield
    for name in ("TETHERWATCH_DATA", "TETHERWATCH_CONFIG"):
        del os.environ[name]


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Captures to drop from."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    return folder


@pytest.fixture
def captures(tmp_path: Path) -> Path:
    """The watched folder."""
    folder = tmp_path / "captures"
    folder.mkdir()
    return folder
