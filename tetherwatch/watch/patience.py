"""Waiting with a limit for calls into libraries that know none."""

import time
from collections.abc import Callable
from threading import Thread


def at_most(seconds: float, *actions: Callable[[], None]) -> bool:
    """Run `actions` side by side and wait for them no longer than `seconds` in all. Whether all came to their end."""
    threads = [Thread(target=action, daemon=True) for action in actions]
    for thread in threads:
        thread.start()
    end = time.monotonic() + seconds
    for thread in threads:
        thread.join(max(0.0, end - time.monotonic()))
    return not any(thread.is_alive() for thread in threads)
