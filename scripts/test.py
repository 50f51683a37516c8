"""Run every check of the project in an environment of its own: ruff, mypy, pytest."""

import sys

if sys.version_info < (3, 10):  # noqa: UP036 (said by whatever Python the user has; so no newer syntax in this file)
    sys.exit("tetherwatch needs Python 3.10 or newer; this is Python " + sys.version.split()[0] + ".")

import subprocess

import environment

CHECKS = (
    ("ruff", "check", "."),
    ("ruff", "format", "--check", "."),
    ("mypy",),
)


def main():
    """Run all the checks, whatever the earlier ones found; 0 if each of them passed."""
    parser = environment.parser(__doc__)
    parser.add_argument("pytest_arguments", nargs="*", metavar="ARGUMENT", help="for pytest; put -- before the first")
    options = parser.parse_args()
    python = environment.prepare(options.environment, "test")
    passed = [passes(python, *check) for check in CHECKS]
    passed.append(passes(python, "pytest", "-n", "2", *options.pytest_arguments))
    return 0 if all(passed) else 1


def passes(python, *check):
    """Run one check from the top of the project; its output is shown as it comes."""
    environment.say("Running", *check)
    code = subprocess.call(environment.module(python, *check), cwd=str(environment.PROJECT))
    if code:
        environment.say("Failed:", *check)
    return code == 0


if __name__ == "__main__":
    environment.run(main)
