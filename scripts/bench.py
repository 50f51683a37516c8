"""Measure tetherwatch against its figures: speed against the bare decoder, truth, calls, start and memory."""

import sys

if sys.version_info < (3, 10):  # noqa: UP036 (said by whatever Python the user has; so no newer syntax in this file)
    sys.exit("tetherwatch needs Python 3.10 or newer; this is Python " + sys.version.split()[0] + ".")

import os
import tempfile
from pathlib import Path

import environment

PART_NAMES = tuple(
    "reading truth loop sessions setups program faces eyes ladder dashboard arrival looks stream growth memory "
    "report".split()
)
NEEDED = ("tetherwatch", "tifffile", "imagecodecs", "psutil", "pyte", "skimage")


def main():
    """Measure with this Python if it has what that takes, else with the project's environment."""
    options = parse()

    def work():
        from benchmarks.run import run

        with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-", ignore_cleanup_errors=True) as data:
            os.environ["TETHERWATCH_DATA"] = data  # sessions of the programs that are measured
            return run(options.only, options.quick, options.json)

    return environment.run_with(NEEDED, options.environment, work)


def parse():
    """Read the command line."""
    parser = environment.parser(__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer repeats and smaller files: about a minute")
    parser.add_argument("--json", metavar="FILE", type=Path, help="also write the rows to a file")
    parser.add_argument(
        "--only", nargs="+", choices=PART_NAMES, default=PART_NAMES, metavar="NAME", help="parts to run"
    )
    return parser.parse_args()


if __name__ == "__main__":
    environment.run(main)
