"""Show tetherwatch at a simulated shoot: captures drop into a temporary folder and the dashboard meters them.

Without a terminal the events are printed as JSON, one a line, and the demo ends after a few frames.
"""

import sys

if sys.version_info < (3, 10):  # noqa: UP036 (said by whatever Python the user has; so no newer syntax in this file)
    sys.exit("tetherwatch needs Python 3.10 or newer; this is Python " + sys.version.split()[0] + ".")

import contextlib
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import environment

DEMO_PLAN = "window-card"
DEMO_SCENE = "moves"
DEMO_LIGHT = "continuous"
FRAMES_WITH_DASHBOARD = 60
FRAMES_WITHOUT = 8
LAG_S = 120
"""How far metering may lag behind the simulated camera before the demo gives up, without a terminal."""


def main():
    """Prepare the environment, then simulate and watch until the user or the last frame ends it."""
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda number, _: sys.exit(128 + number))
    options = parse()
    python = environment.prepare(options.environment, "rehearse")
    with tempfile.TemporaryDirectory(prefix="tetherwatch-demo-", ignore_cleanup_errors=True) as temporary:
        return show(python, Path(temporary), options)


def parse():
    """Read the command line; the number of frames depends on whether anyone can press a key."""
    parser = environment.parser(__doc__.splitlines()[0])
    frames = FRAMES_WITH_DASHBOARD if sys.stdout.isatty() else FRAMES_WITHOUT
    parser.add_argument("--frames", type=int, default=frames, metavar="N", help="captures to simulate")
    parser.add_argument("--every", type=float, default=3.0, metavar="SECONDS", help="time between captures")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="which shoot to simulate")
    parser.add_argument("--report", type=Path, metavar="FILE.html", help="write the record of the session there")
    options = parser.parse_args()
    if options.frames < 1 or not 0 < options.every <= 3600:
        parser.error("--frames starts at 1, --every lies above 0 and at most at 3600")
    return options


def show(python, temporary, options):
    """Run the simulated camera and the watch beside each other; return the watch's exit code."""
    captures, log = temporary / "captures", temporary / "rehearse.log"
    captures.mkdir()
    environment.say("Simulating", options.frames, "captures into", captures)
    with log.open("wb") as output, running(shoot(python, captures, options), stdout=output) as camera:
        with running(watch(python, captures, options)) as watcher:
            code = wait(watcher, camera, options)
        if camera.poll():
            raise environment.ScriptError("The simulated camera stopped: " + last_line(log))
    if code is None:
        raise environment.ScriptError("The captures were not metered in time.")
    return code or report(python, session(captures), options)


def report(python, session, options):
    """Write the record of the session if that is asked for, else say how to get it; return the exit code."""
    if options.report is None:
        environment.say("Add --report FILE.html to get the record of such a session.")
        return 0
    return subprocess.call(environment.module(python, "tetherwatch", "report", str(session), "-o", str(options.report)))


def session(captures):
    """Return the file of the session."""
    return captures.with_name("demo.session")


def shoot(python, captures, options):
    """Return the command of the simulated camera."""
    pace = ("--frames", str(options.frames), "--seed", str(options.seed), "--every", str(options.every))
    shoot = ("--scene", DEMO_SCENE, "--light", DEMO_LIGHT)
    return environment.module(python, "tetherwatch", "rehearse", str(captures), *shoot, *pace)


def watch(python, captures, options):
    """Return the command of the watch: the dashboard, or as many JSON events as there are frames."""
    headless = () if sys.stdout.isatty() else ("--headless", "--frames", str(options.frames))
    place = ("--session", str(session(captures)))
    return environment.module(python, "tetherwatch", "watch", str(captures), "--plan", DEMO_PLAN, *place, *headless)


@contextlib.contextmanager
def running(command, stdout=None):
    """Run a command for the length of a block and leave nothing of it behind."""
    streams = {} if stdout is None else {"stdin": subprocess.DEVNULL, "stdout": stdout, "stderr": stdout}
    process = subprocess.Popen(command, **streams)
    try:
        yield process
    except KeyboardInterrupt:  # the terminal interrupted the process too: let it end by itself
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(5)
        raise
    finally:
        stop(process)


def stop(process):
    """End a process: politely, then for certain."""
    if process.poll() is None:
        process.terminate()
    try:
        process.wait(5)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def wait(watcher, camera, options):
    """Return the watch's exit code; without a terminal None if the camera fails or the time is up."""
    if sys.stdout.isatty():
        return watcher.wait()
    deadline = time.monotonic() + options.frames * options.every + LAG_S
    while watcher.poll() is None and not camera.poll() and time.monotonic() < deadline:
        time.sleep(0.1)
    return watcher.poll()


def last_line(log):
    """Return the last thing a log says."""
    lines = log.read_text(encoding="utf-8", errors="replace").split("\n")
    return next((line.strip() for line in reversed(lines) if line.strip()), "it gave no reason.")


if __name__ == "__main__":
    environment.run(main)
