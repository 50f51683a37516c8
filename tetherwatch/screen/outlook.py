"""The line under the reason of a call: what it promises, what came of the one before, and the score of all."""

from rich.text import Text

from tetherwatch.advise.landing import Landing, Score
from tetherwatch.advise.records import Predicted
from tetherwatch.advise.words import name as setting_name
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import offset_words, percent, signed, snr_words
from tetherwatch.session.records import FrameRecord

_GAP = "   "


def has_outlook(frame: FrameRecord, score: Score) -> bool:
    """Whether there is anything to say in this line."""
    return bool(frame.call.predicted or frame.landing or score.count)


def outlook_line(frame: FrameRecord, score: Score, palette: Palette, width: int) -> Text:
    """The fullest wording that fits: noise goes first, then the score, then the figures of the landing, never the
    promise."""
    promises = [()] if frame.call.predicted is None else _promises(frame.call.predicted)
    wordings = [_GAP.join((*promise, *past)) for past in _past(frame.landing, score) for promise in promises]
    fitting = (words for words in wordings if len(words) <= width - 2)
    return Text(f" {next(fitting, wordings[-1])}", palette.quiet)


def promise_words(predicted: Predicted) -> str:
    """What the next frame should read: "next frame -0.10 ±0.29 stops, 0.20 % clipped"."""
    return f"next frame {offset_words(predicted)}, {percent(predicted.clipped_percent)} clipped"


def _promises(predicted: Predicted) -> list[tuple[str, ...]]:
    """Wordings of the promise, fullest first."""
    least = promise_words(predicted)
    return [(least,)] if predicted.grey_snr is None else [(f"{least}, {snr_words(predicted.grey_snr)}",), (least,)]


def landing_words(landing: Landing) -> str:
    """What came of a call: "landed: ISO, predicted +0.02, is +0.05"."""
    predicted, measured = signed(landing.predicted_offset_stops, 2), signed(landing.offset_stops, 2)
    return f"landed: {setting_name(landing.setting)}, predicted {predicted}, is {measured}"


def score_words(score: Score) -> str:
    """How well calls came out: "calls landed: 9, median 0.03, worst 0.11 off"; empty before the first landing."""
    middle, worst = score.median_error_stops, score.worst_error_stops
    if middle is None or worst is None:
        return ""
    return f"calls landed: {score.count}, median {middle:.2f}, worst {worst:.2f} off"


def _past(landing: Landing | None, score: Score) -> list[tuple[str, ...]]:
    """Wordings of what came of earlier calls, fullest first; the last one is nothing at all."""
    total = (score_words(score),) if score.count else ()
    if landing is None:
        return [total, ()]
    short = f"landed: {setting_name(landing.setting)}, off by {signed(landing.error_stops, 2)}"
    return [(landing_words(landing), *total), (landing_words(landing),), (short,), ()]
