"""Drop thousands of small captures at full speed into a watched folder: none may be lost, and nothing may grow."""

import sys

if sys.version_info < (3, 10):  # noqa: UP036 (said by whatever Python the user has; so no newer syntax in this file)
    sys.exit("tetherwatch needs Python 3.10 or newer; this is Python " + sys.version.split()[0] + ".")


import environment

NEEDED = ("tetherwatch", "tifffile", "imagecodecs", "psutil")


def main():
    """Soak with this Python if it has what that takes, else with the project's environment."""
    options = parse()

    def work():
        from stress.soaking import run_soak

        return run_soak(options.frames)

    return environment.run_with(NEEDED, options.environment, work)


def parse():
    """Read the command line."""
    parser = environment.parser(__doc__)
    parser.add_argument("--frames", type=int, default=10_000, metavar="N", help="captures to drop")
    options = parser.parse_args()
    if options.frames < 20:
        parser.error("--frames starts at 20")
    return options


if __name__ == "__main__":
    environment.run(main)
