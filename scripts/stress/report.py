"""Tables of what came of it."""

import sys
import time
from collections.abc import Sequence
from pathlib import Path

from environment import ScriptError, say
from rich.console import Console
from rich.table import Table
from rich.text import Text

from stress.fuzzing import Tally, fuzz, originals
from stress.mutants import Original
from tetherwatch.text import display_name

WIDTH_WITHOUT_TERMINAL = 110


def run_fuzz(count: int, seed: int, files: Sequence[Path] | None, keep: Path | None) -> int:
    """Fuzz and print; 1 if a worker crashed or a sound capture was lost, else 0."""
    captures = originals() if files is None else [_original(file) for file in files]
    say(f"Reading {count} damaged captures ...")
    began = time.monotonic()
    tally = fuzz(captures, count, seed)
    console = Console(width=None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL)
    console.print(fuzz_table(tally, f"seed {seed}: {count} damaged captures in {time.monotonic() - began:.0f} s"))
    console.print(
        f"slowest: {tally.slowest_s:.1f} s; sound captures between them: {tally.sound}, lost: {tally.sound_lost}"
    )
    for number, mutant, what in tally.crashes:
        console.print(Text(f"{number} {mutant.original.name}, {mutant.kind}: {display_name(what)}"))
        if keep is not None:
            keep.mkdir(parents=True, exist_ok=True)
            (keep / f"{seed}-{number}{mutant.original.ending}").write_bytes(mutant.content)
    return 1 if tally.sound_lost or any("CRASHED" in what for _, _, what in tally.crashes) else 0


def fuzz_table(tally: Tally, title: str) -> Table:
    """Outcomes down, kinds of damage across."""
    kinds = sorted({kind for kind, _ in tally.outcomes})
    table = Table(title=title, title_justify="left", title_style="bold")
    table.add_column("outcome")
    for kind in (*kinds, "all"):
        table.add_column(kind, justify="right")
    for name in sorted({name for _, name in tally.outcomes}):
        counts = [tally.outcomes[kind, name] for kind in kinds]
        table.add_row(Text(name.lower().replace("_", " ")), *map(str, (*counts, sum(counts))))
    return table


def _original(file: Path) -> Original:
    try:
        return Original(file.name, file.suffix, file.read_bytes())
    except OSError as error:
        raise ScriptError(f"{file} cannot be read ({error.strerror}).") from None
