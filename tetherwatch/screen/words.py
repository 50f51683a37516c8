"""The words and signs that the dashboard and the plain lines share."""

from rich.cells import cell_len

from tetherwatch.advise.records import Call, CallKind, Predicted
from tetherwatch.advise.whatif import Tried
from tetherwatch.advise.words import name as setting_name
from tetherwatch.advise.words import setting_label
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.stops import Setting
from tetherwatch.face.records import EyeState
from tetherwatch.frame.records import Channel, Source
from tetherwatch.meter.records import Reading, Sides
from tetherwatch.text import display_name

GLYPHS: dict[CallKind, str] = {"brighter": "▲", "darker": "▼", "hold": "●", "check": "?", "blocked": "■"}
CHANNEL_LETTERS: dict[Channel, str] = {"r": "R", "g": "G", "b": "B", "y": "Y"}
UNKNOWN = "unknown"

_SOURCES: dict[Source, str] = {"raw": "raw", "jpeg": "JPEG estimate", "preview": "preview estimate"}


def signed(stops: float, digits: int = 1) -> str:
    """Stops with their sign; a value that rounds to nothing has none."""
    text = f"{stops:+.{digits}f}"
    return text if float(text) else text[1:]


def decimal(value: float, digits: int = 1) -> str:
    """A number that has a sign only below nothing, and none where it rounds to nothing."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def value_words(setting: Setting, value: float | None, step: Step) -> str:
    """A setting's value as engraved (of light: a part of full power), or "unknown"."""
    return UNKNOWN if value is None else setting_label(setting, value, step)


def source_words(reading: Reading) -> str:
    """Where a reading comes from; an estimate is called one, a first look is too."""
    return _SOURCES[reading.source] + (", first look" if reading.provisional else "")


def move_words(call: Call, arrow: str) -> str:
    """Setting, from and to: "ISO 400 -> 800"; only the setting where it has no dial; empty without one."""
    if call.setting is None:
        return ""
    name = setting_name(call.setting)
    if call.to_label is None:
        return name
    return f"{name} {display_name(call.from_label or UNKNOWN)} {arrow} {display_name(call.to_label)}"


def stops_words(call: Call) -> str:
    """How far the call moves and what remains: "+1.0 stops, then +0.7 more"; empty if there is nothing to say."""
    moved = f"{signed(call.move_stops)} stops" if call.setting is not None else ""
    if not float(signed(call.left_stops)):
        return moved
    return f"{moved}, then {signed(call.left_stops)} more" if moved else f"{signed(call.left_stops)} stops needed"


def offset_words(predicted: Predicted) -> str:
    """A predicted offset, with the uncertainty of the move where it has one: "-0.10 ±0.29 stops"."""
    spread = f" ±{predicted.uncertainty_stops:.2f}" if predicted.uncertainty_stops else ""
    return f"{signed(predicted.offset_stops, 2)}{spread} stops"


def tried_offset_words(tried: Tried) -> str:
    """The offset of a what-if, with its bounds where only these are known."""
    if tried.between is None:
        return f"{signed(tried.predicted.offset_stops, 2)} stops ±{tried.uncertainty_stops:.2f}"
    return f"between {signed(tried.between[0], 2)} and {signed(tried.between[1], 2)} stops"


def percent(value: float) -> str:
    """A percentage short enough for a column, with its sign."""
    return f"{percent_number(value)} %"


def percent_number(value: float) -> str:
    """A percentage without its sign: two digits below ten."""
    return f"{value:.2f}" if value < 9.995 else f"{value:.1f}"


def age_words(seconds: float) -> str:
    """A span of time in its largest fitting unit; clocks that ran backwards count as now."""
    whole = max(int(seconds), 0)
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min")):
        if whole >= size:
            return f"{whole // size} {unit}"
    return f"{whole} s"


def keep_end(text: str, cells: int) -> str:
    """`text` within `cells`, cut at its beginning: of a path the last part matters."""
    if cell_len(text) <= cells:
        return text
    while text and cell_len(text) > cells - 1:
        text = text[1:]
    return "…" + text


def eye_words(eyes: EyeState) -> str:
    """The state of the eyes in two or three words."""
    if eyes.verdict == "unknown":
        return "eyes not known yet" if eyes.kept_percent is None else "eyes may be soft"
    return f"eyes {eyes.verdict}"


def snr_words(snr: float) -> str:
    """How clean a mid-grey is, pixel by pixel: "grey SNR about 58"."""
    return f"grey SNR about {snr:.0f}" if snr >= 10 else f"grey SNR about {snr:.1f}"


def sides_words(sides: Sides) -> str:
    """The lighting ratio of a face and which side is the brighter one, as seen in the picture."""
    return f"key {sides.key} +{sides.ratio_stops:.1f}"
