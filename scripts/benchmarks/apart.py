"""Measuring in a process of its own, which has loaded and used up nothing yet."""

import json
import os
import subprocess
import sys
from typing import Any

from environment import ScriptError


def measured_apart(script: str, *words: object) -> Any:
    """What a script prints as JSON, run with one thread as workers are. Raises ScriptError if it fails."""
    done = subprocess.run(
        [sys.executable, script, *map(str, words)],
        env={**os.environ, "OMP_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        text=True,
        check=False,
    )
    if done.returncode:
        raise ScriptError(f"Nothing could be measured with {script}.")
    return json.loads(done.stdout)
