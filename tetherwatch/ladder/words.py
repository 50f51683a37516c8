"""What a ladder was measured from and held against, in words."""

from tetherwatch.ladder.columns import frame_words, iso_label
from tetherwatch.ladder.records import Ceiling, Finding, Ladder, Output

_UNKNOWN_CAMERA = "unknown camera"


def head_words(ladder: Ladder) -> str:
    """The camera, with its serial number where the files carry one. From the files: not yet safe to show."""
    return " ".join(filter(None, (ladder.camera or _UNKNOWN_CAMERA, ladder.serial)))


def frames_words(ladder: Ladder) -> str:
    """How many frames of what kind the figures come from."""
    frames = frame_words(sum(rung.frames for rung in ladder.rungs))
    kind = "raw" if ladder.source == "raw" else "after the camera's processing"
    return f"{len(ladder.rungs)} rungs, {frames}, {ladder.width} x {ladder.height}, {kind}"


def output_words(output: Output) -> str:
    """How the picture will be seen."""
    if output.kind == "web":
        return f"a picture of {output.size:g} pixels on its longer side"
    return f"a print of {output.size:g} cm on its longer side"


def rules(ladder: Ladder) -> tuple[str, ...]:
    """What the ceiling was held against, a sentence each, and what the figures could not show."""
    options, (grey, shadow) = ladder.options, ladder.grades
    stops = f"{options.denoise_stops:g} stop{'' if options.denoise_stops == 1 else 's'}"
    denoise = f", which counts on {stops} from denoising" if options.denoise_stops else ""
    return (
        f"Seen as {output_words(options.output)}.",
        f"Signal to noise of at least {grey:.3g} at mid-grey and {shadow:.3g} three stops below it{denoise}.",
        f"At least {100 * options.detail_least:.0f} % of the fine detail of ISO {iso_label(ladder.rungs[0].iso)}.",
        "Read off between the rungs, never beyond the highest one.",
        *_lost(ladder),
    )


def _lost(ladder: Ladder) -> tuple[str, ...]:
    lost = [iso_label(rung.iso) for rung in ladder.rungs if rung.gain_dn_per_e and rung.read_noise_e is None]
    if not lost:
        return ()
    return (f"Read noise at ISO {', '.join(lost)}: below what these frames can show, so no profile keeps it.",)


def interval_words(ceiling: Ceiling) -> str:
    """Between which ISO values the ceiling lies."""
    low, high = map(iso_label, ceiling.interval)
    return low if low == high else f"{low} to {high}"


def found_words(finding: Finding) -> str:
    """What was found, as a sentence. From the files: not yet safe to show."""
    named = finding.file is not None and finding.reason.startswith(finding.file.name)
    return finding.reason + "." if named else sentence(finding.reason)


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    return f"{text[:1].upper()}{text[1:]}."
