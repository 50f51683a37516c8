"""Damaged captures through real worker processes."""

import pytest
from stress.fuzzing import Tally, fuzz, originals
from stress.mutants import DAMAGES, mutants

from tetherwatch.frame.faults import Fault
from tetherwatch.watch.task import Failure

pytest.importorskip("tifffile")
pytest.importorskip("imagecodecs")

MUTANTS, SEED = 2000, 20260506
CLEAR = {fault.name for fault in Fault} - {"CRASHED", "TOO_SLOW", "VANISHED", "NO_ACCESS", "NOT_A_FILE", "SET_ASIDE"}


@pytest.fixture(scope="module")
def captures():
    """Sound captures of every kind."""
    return originals()


def test_damaged_captures_give_a_reading_or_a_clear_fault_and_cost_no_neighbour(captures, capfd):
    """No worker crashes, no sound capture between them suffers, nothing is written to the error stream."""
    tally = fuzz(captures, MUTANTS, SEED)
    assert sum(tally.outcomes.values()) == MUTANTS
    assert tally.crashes == []
    allowed = {"READ", *CLEAR, *(f"{name}_FROM_PREVIEW" for name in CLEAR)}
    assert {name for _, name in tally.outcomes} <= allowed
    assert (tally.sound, tally.sound_lost) == (MUTANTS // 10, 0)
    assert capfd.readouterr() == ("", "")


def test_damage_is_what_it_says_and_the_same_for_the_same_seed(captures):
    """Each kind to each original in turn; most of it changes the content."""
    turns = len(captures) * len(DAMAGES)
    one, two = list(mutants(captures, turns, 1)), list(mutants(captures, turns, 1))
    assert one == two
    assert one != list(mutants(captures, turns, 2))
    assert {(mutant.original.name, mutant.kind) for mutant in one} == {
        (capture.name, kind) for capture in captures for kind in DAMAGES
    }
    assert all(len(m.content) < len(m.original.content) for m in one if m.kind == "cut short")
    changed = [mutant.content != mutant.original.content for mutant in one if mutant.kind != "blanked"]
    assert sum(changed) >= 0.9 * len(changed)


def test_a_crash_is_told_with_its_capture(captures):
    """And a sound capture that failed is counted as lost."""
    mutant = next(iter(mutants(captures, 1, 1)))
    tally = Tally()
    tally.note(7, mutant, Failure(Fault.CRASHED, "why"), 1.0)
    tally.note(8, None, Failure(Fault.CUT_SHORT), 9.0)
    assert tally.crashes == [(7, mutant, "CRASHED why")]
    assert (tally.sound, tally.sound_lost, tally.slowest_s) == (1, 1, 1.0)
