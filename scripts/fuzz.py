"""Read damaged captures in worker processes: each must give a reading or a clear fault, and none crash a worker."""

import sys

if sys.version_info < (3, 10):  # noqa: UP036 (said by whatever Python the user has; so no newer syntax in this file)
    sys.exit("tetherwatch needs Python 3.10 or newer; this is Python " + sys.version.split()[0] + ".")

from pathlib import Path

import environment

NEEDED = ("tetherwatch", "tifffile", "imagecodecs")


def main():
    """Fuzz with this Python if it has what that takes, else with the project's environment."""
    options = parse()

    def work():
        from stress.report import run_fuzz

        return run_fuzz(options.mutants, options.seed, options.originals, options.keep)

    return environment.run_with(NEEDED, options.environment, work)


def parse():
    """Read the command line."""
    parser = environment.parser(__doc__)
    parser.add_argument("--mutants", type=int, default=2000, metavar="N", help="damaged captures to read")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="which damage to do")
    parser.add_argument(
        "--originals",
        type=Path,
        nargs="+",
        metavar="FILE",
        help="captures to damage copies of (default: simulated ones)",
    )
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="where to put the captures that crashed a worker")
    options = parser.parse_args()
    if options.mutants < 1:
        parser.error("--mutants starts at 1")
    return options


if __name__ == "__main__":
    environment.run(main)
