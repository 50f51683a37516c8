"""How clean a frame will be, from what was measured of its body."""

from dataclasses import replace

from tetherwatch.advise.records import Call
from tetherwatch.advise.whatif import Tried
from tetherwatch.body.records import Body
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting


def expected(call: Call, settings: Settings, body: Body | None) -> Call:
    """The call, its prediction with the noise of a mid-grey at the ISO that it leads to."""
    if call.predicted is None or body is None or settings.iso is None:
        return call
    iso = settings.iso * 2.0**call.move_stops if call.setting is Setting.ISO else settings.iso
    return replace(call, predicted=replace(call.predicted, grey_snr=body.grey_snr(iso)))


def expected_of_try(tried: Tried, body: Body | None) -> Tried:
    """The outcome of a what-if, with the noise of a mid-grey at its ISO."""
    if body is None or tried.settings.iso is None:
        return tried
    return replace(tried, predicted=replace(tried.predicted, grey_snr=body.grey_snr(tried.settings.iso)))
