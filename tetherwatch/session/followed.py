"""What came of a session's calls: landings by frame, their score, and where the light's power stands after them."""

from tetherwatch.advise.landing import SCORED_LANDINGS, Landing, Score
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.stops import Setting


class Followed:
    """The last landings. A better reading of a frame takes the place of its first one."""

    def __init__(self, plan: Plan, number: int = 0) -> None:
        """Under a plan that was chosen after frame `number`."""
        self._landings: dict[int, Landing] = {}
        self.use_plan(plan, number)

    @property
    def score(self) -> Score:
        """The score of the last landings."""
        return Score(tuple(self._landings.values()))

    @property
    def power(self) -> float | None:
        """Where the light's power stands, as a part of full power; None where the plan does not say."""
        return self._power

    @property
    def set_after(self) -> int:
        """The frame after which the plan was chosen."""
        return self._set_after

    def use_plan(self, plan: Plan, number: int) -> None:
        """The light's power stands where this plan starts, after frame `number`: what came before is in that start."""
        self._power, self._set_after = _start(plan), number

    def note(self, number: int, landing: Landing | None) -> None:
        """Set what came of a call with frame `number`."""
        if number > self._set_after:
            self._turn_light(_light_stops(landing) - _light_stops(self._landings.get(number)))
        if landing is None:
            self._landings.pop(number, None)
        else:
            self._landings[number] = landing
        if len(self._landings) > SCORED_LANDINGS:
            del self._landings[next(iter(self._landings))]

    def _turn_light(self, stops: float) -> None:
        if self._power is not None:
            self._power *= 2.0**stops


def _start(plan: Plan) -> float | None:
    return None if plan.power is None else plan.power.start


def _light_stops(landing: Landing | None) -> float:
    """How far the light was turned."""
    return landing.asked_stops if landing is not None and landing.setting is Setting.LIGHT else 0.0
