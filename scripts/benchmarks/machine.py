"""The machine a measurement was made on, and how much memory a process has had at most."""

import os
import platform
import re
import sys
from datetime import datetime, timezone
from pathlib import Path

import psutil

MIB = 1 << 20


def machine() -> dict[str, object]:
    """What is needed to judge the figures."""
    return {
        "cpu": _cpu(),
        "cores": os.cpu_count(),
        "python": platform.python_version(),
        "system": platform.system(),
        "date": datetime.now(timezone.utc).isoformat(timespec="seconds"),
    }


def peak_mib(process: psutil.Process) -> float:
    """Most resident memory a living process has had, in MiB; on macOS what it has now.

    Not `ru_maxrss`: on Linux that includes what the parent had at the moment of starting the process.
    """
    if sys.platform == "linux":
        status = Path(f"/proc/{process.pid}/status").read_text(encoding="utf-8")
        return int(re.findall(r"VmHWM:\s*(\d+) kB", status)[0]) * 1024 / MIB
    memory = process.memory_info()
    return float(getattr(memory, "peak_wset", memory.rss)) / MIB


def _cpu() -> str:
    try:
        names = re.findall(r"model name\s*:\s*(.+)", Path("/proc/cpuinfo").read_text(encoding="utf-8"))
    except OSError:
        names = []
    return names[0] if names else platform.processor() or platform.machine()
