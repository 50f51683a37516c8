"""The plan in force: the chosen one with what was locked in this session."""

from collections.abc import Mapping

from tetherwatch.advise.locks import locked_at, unlocked
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.stops import Setting

Locks = Mapping[Setting, float | None]
"""What was locked, each at its value, and what was unlocked (None)."""


class InForce:
    """The plan, as the user changes it."""

    def __init__(self, plan: Plan, locks: Locks) -> None:
        """Begin with a chosen plan."""
        self._chosen = plan
        self._locks = dict(locks)
        self._plan = _with_locks(plan, self._locks)

    @property
    def plan(self) -> Plan:
        """The plan with everything changed in it."""
        return self._plan

    @property
    def locks(self) -> Locks:
        """What this session locked and unlocked."""
        return self._locks

    def choose(self, plan: Plan) -> None:
        """Take another plan; all locks are dropped."""
        self._locks.clear()
        self.change(plan)

    def change(self, plan: Plan) -> None:
        """Take another version of the chosen plan; locks stay."""
        self._chosen = plan
        self._plan = _with_locks(plan, self._locks)

    def toggle_lock(self, setting: Setting, stands_at: float | None) -> None:
        """Lock a free setting where it stands (None: unknown, so at the plan's start), free a locked one; the second
        time, return to the plan's own range."""
        allowed = self._chosen.allowed(setting)
        if setting in self._locks:
            del self._locks[setting]
        elif allowed.locked:
            self._locks[setting] = None
        else:
            self._locks[setting] = allowed.start if stands_at is None else stands_at
        self.change(self._chosen)


def _with_locks(plan: Plan, locks: Locks) -> Plan:
    for setting, value in locks.items():
        plan = unlocked(plan, setting) if value is None else locked_at(plan, setting, value)
    return plan
