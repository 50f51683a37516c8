"""Run the parts, print their tables, write their rows."""

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from environment import say
from rich.console import Console

from benchmarks import (
    arrival,
    dashboard,
    eyes,
    faces,
    growth,
    ladder,
    looks,
    loop,
    memory,
    program,
    reading,
    report,
    sessions,
    setups,
    stream,
    truth,
)
from benchmarks.machine import machine
from benchmarks.rows import Rows, as_object, table

WIDTH_WITHOUT_TERMINAL = 110

Part = Callable[[bool], Rows]

PARTS: Mapping[str, Part] = {
    "reading": reading.measure,
    "truth": truth.measure,
    "loop": loop.measure,
    "sessions": sessions.measure,
    "setups": setups.measure,
    "program": program.measure,
    "faces": faces.measure,
    "eyes": eyes.measure,
    "ladder": ladder.measure,
    "dashboard": dashboard.measure,
    "arrival": arrival.measure,
    "looks": looks.measure,
    "stream": stream.measure,
    "growth": growth.measure,
    "memory": memory.measure,
    "report": report.measure,
}


def run(names: Sequence[str], quick: bool, json_file: Path | None, parts: Mapping[str, Part] = PARTS) -> int:
    """Measure the named parts; 1 if a limit was missed, else 0."""
    console = Console(width=None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL)
    here = machine()
    results: dict[str, Rows] = {}
    for name in names:
        say(f"Measuring {name} ...")
        results[name] = parts[name](quick)
        console.print(table(name, results[name]))
    console.print(", ".join(f"{key}: {value}" for key, value in here.items()), markup=False, highlight=False)
    if json_file is not None:
        rows = [as_object(name, row) for name, part in results.items() for row in part]
        json_file.write_text(json.dumps({"machine": here, "quick": quick, "rows": rows}, indent=1) + "\n", "utf-8")
    return 1 if any(row.held is False for part in results.values() for row in part) else 0
