"""Where body profiles live on disk: the user's config folder, or where TETHERWATCH_CONFIG says."""

import os
from pathlib import Path

import platformdirs

_CONFIG_VARIABLE = "TETHERWATCH_CONFIG"


def bodies_folder() -> Path:
    """The folder of all body profiles; it need not be there yet."""
    chosen = os.environ.get(_CONFIG_VARIABLE)
    config = Path(chosen) if chosen else platformdirs.user_config_path("tetherwatch", appauthor=False)
    return config / "bodies"
