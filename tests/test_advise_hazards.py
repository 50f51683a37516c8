"""Warnings beside the call: formulas against worked values, sentences, and silence where nobody would act."""

import math
from dataclasses import replace

import pytest
from advise_records import GOOD, plans
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.hazards import (
    MODULATION,
    airy_um,
    crop_factor,
    flicker_swing,
    hazards,
    slowest_dial_time,
    smear_mm,
    steady_times,
)
from tetherwatch.advise.library import load_plan, shipped_names
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Plan, Scene
from tetherwatch.exposure.dial import Dial, Step, parse_value
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.frame.records import Metadata, Program
from tetherwatch.frame.tags import KEYS, metadata_from

PLAN = parse_plan(GOOD, "mine.toml", 6400.0)
SAFE = "1/250 f/2.8 100"


def plan(light: str = "continuous", **scene: object) -> Plan:
    """A plan under this light for this scene."""
    return replace(PLAN, light=light, scene=Scene(**scene))  # type: ignore[arg-type]


def capture(camera: str = SAFE, **known: object) -> Metadata:
    """What a capture says whose camera was set like "1/250 f/2.8 100", in nominal numbers, on manual."""
    values = [parse_value(setting, text) for setting, text in zip(CAMERA_SETTINGS, camera.split(), strict=True)]
    return replace(Metadata(settings=Settings(*values), program="manual"), **known)


def said(plan: Plan, metadata: Metadata) -> dict[str, str]:
    """The warnings by kind."""
    found = hazards(plan, metadata)
    assert len({finding.kind for finding in found}) == len(found)
    return {finding.kind: finding.reason for finding in found}


SENTENCES = [
    (plan(), capture("1/60 f/2.8 100", focal_mm=85.0),
     "hand-hold", "1/60 is slow to hold by hand at 85 mm: 1/100 or faster, or a tripod"),
    (plan(), capture("1/60 f/2.8 100", focal_mm=85.0, focal_35mm=128.0),
     "hand-hold", "1/60 is slow to hold by hand at 85 mm x 1.5: 1/160 or faster, or a tripod"),
    (plan(), capture("1/60 f/2.8 100", focal_35mm=9000.0),
     "hand-hold", "1/60 is slow to hold by hand at 9000 mm: use a tripod"),
    (plan(speed_m_s=0.5, distance_m=2.5), capture("1/125 f/2.8 100", focal_mm=85.0, pixel_um=4.4),
     "movement", "at 0.5 m/s the subject smears over 32 pixels in 1/125: 1/640 or faster keeps it sharp"),
    (plan(speed_m_s=1.0, distance_m=3.0), capture("1/200 f/2.8 100", focal_mm=50.0, pixel_um=5.9),
     "movement", "at 1 m/s the subject smears over 14 pixels in 1/200: 1/640 or faster keeps it sharp"),
    (plan(speed_m_s=1.0, distance_m=3.0), capture("1/200 f/2.8 100", focal_mm=50.0),
     "movement", "at 1 m/s the subject smears over 0.08 mm of the sensor in 1/200: 1/640 or faster keeps it sharp"),
    (plan(speed_m_s=60.0, distance_m=3.0), capture("1/8000 f/2.8 100", focal_mm=50.0, pixel_um=6.0),
     "movement", "at 60 m/s the subject smears over 21 pixels in 1/8000"),
    (plan("flash"), capture("1/500 f/2.8 100"),
     "sync", "1/500 is faster than sync speed 1/250: part of the frame gets no flash"),
    (plan(mains_hz=50), capture("1/200 f/2.8 100"),
     "flicker", "lamps on 50 Hz may swing 1.0 stops between frames at 1/200: 1/50 or 1/100 is steady"),
    (plan("mixed", mains_hz=60), capture("1/200 f/2.8 100"),
     "flicker", "lamps on 60 Hz may swing 0.7 stops between frames at 1/200: 1/60 or 1/125 is steady"),
    (plan(), capture("1/250 f/16 100", pixel_um=4.35),
     "diffraction", "f/16 softens fine detail: diffraction spreads a point over 4.9 pixels"),
    (plan(), capture("1/250 f/2.8 12800"),
     "ceiling", "ISO 12800 is above the noise ceiling, ISO 6400: it will be noisier"),
    (plan(), capture("1/250 f/2.8 50"),
     "extended", "ISO 50 is an extended speed on most bodies: highlights clip sooner"),
    (replace(plan(), ceiling_iso=102_400.0), capture("1/250 f/2.8 102400"),
     "extended", "ISO 102400 is an extended speed on most bodies: brighter, but no more detail"),
    (plan(), capture(program="aperture priority"),
     "program", "the camera is on aperture priority, not manual: it may undo a call by itself"),
    (plan(), capture(program="other"),
     "program", "the camera is on another program, not manual: it may undo a call by itself"),
]  # fmt: skip


@pytest.mark.parametrize(("under", "metadata", "kind", "reason"), SENTENCES)
def test_each_hazard_is_one_plain_sentence(under: Plan, metadata: Metadata, kind: str, reason: str) -> None:
    """One hazard gives one finding with its numbers and, where there is one, the way out; short enough to read."""
    assert said(under, metadata) == {kind: reason}
    assert len(reason) <= 100


QUIET = {
    "a plain portrait": (plan(), capture(focal_mm=85.0, focal_35mm=85.0, pixel_um=4.4)),
    "less than a dial step over the rule": (plan(), capture("1/80 f/2.8 100", focal_mm=85.0)),
    "a dial step over the rule with a crop": (plan(), capture("1/100 f/2.8 100", focal_mm=85.0, focal_35mm=128.0)),
    "a tripod": (plan(tripod=True), capture("1/4 f/2.8 100", focal_mm=85.0)),
    "flash alone, however slow": (plan("flash", speed_m_s=9.0, distance_m=1.0, mains_hz=50),
                                  capture("1/30 f/8 100", focal_mm=200.0, pixel_um=4.0)),
    "a sitter": (plan(speed_m_s=0.1, distance_m=2.5), capture("1/125 f/2.8 100", focal_mm=85.0, pixel_um=4.4)),
    "a dancer at a fast time": (plan(speed_m_s=2.0, distance_m=2.5),
                                capture("1/2000 f/2.8 100", focal_mm=85.0, pixel_um=4.4)),
    "a subject that stands still": (plan(speed_m_s=0.0, distance_m=2.5), capture(focal_mm=85.0, pixel_um=4.4)),
    "a speed without a distance": (plan(speed_m_s=9.0), capture(focal_mm=85.0, pixel_um=4.4)),
    "a distance inside the focal length": (plan(speed_m_s=9.0, distance_m=0.08), capture(focal_mm=85.0)),
    "flash at sync speed": (plan("flash"), capture("1/250 f/2.8 100")),
    "no flash": (plan(), capture("1/4000 f/2.8 100")),
    "flicker too small to call": (plan(mains_hz=50), capture("1/30 f/2.8 100")),
    "lamps that nobody said flicker": (plan(), capture("1/1000 f/2.8 100")),
    "f/11 on small pixels": (plan(), capture("1/250 f/11 100", pixel_um=3.3)),
    "f/13 on large pixels": (plan(), capture("1/250 f/13 100", pixel_um=5.95)),
    "f/22 on pixels of unknown size": (plan(), capture("1/250 f/22 100")),
    "ISO at the ceiling": (plan(), capture("1/250 f/2.8 6400")),
    "a base speed of 64": (plan(), capture("1/250 f/2.8 64")),
    "a program that is not said": (plan(), capture(program=None)),
    "a capture that says nothing": (plan("mixed", speed_m_s=9.0, distance_m=2.0, mains_hz=50), Metadata()),
}  # fmt: skip


@pytest.mark.parametrize(("under", "metadata"), QUIET.values(), ids=QUIET)
def test_silence_where_nobody_would_act(under: Plan, metadata: Metadata) -> None:
    """What is within a dial step of a rule of thumb, does not apply, or is not known gives no warning."""
    assert said(under, metadata) == {}


def test_several_hazards_come_in_one_order() -> None:
    """The order does not depend on which others there are: what spoils the frame first, what only softens it last."""
    under = replace(plan("mixed", speed_m_s=9.0, distance_m=2.0, mains_hz=50), sync_s=1 / 20)
    found = hazards(under, capture("1/40 f/22 102400", focal_mm=85.0, pixel_um=4.0, program="automatic"))
    kinds = ["sync", "program", "hand-hold", "movement", "flicker", "ceiling", "extended", "diffraction"]
    assert [finding.kind for finding in found] == kinds


@pytest.mark.parametrize(
    ("focal_mm", "crop", "step", "time"),
    [(85.0, 1.0, Step.THIRD, "1/100"), (85.0, 1.5, Step.THIRD, "1/160"), (50.0, 1.0, Step.THIRD, "1/50"),
     (85.0, 1.0, Step.HALF, "1/90"), (85.0, 1.0, Step.FULL, "1/125"), (9000.0, 1.0, Step.THIRD, None)],
)  # fmt: skip
def test_reciprocal_rule_on_the_dial(focal_mm: float, crop: float, step: Step, time: str | None) -> None:
    """85 mm asks for 1/100, with a crop of 1.5 for 1/160 on a third-stop dial (common practice; computed)."""
    assert slowest_dial_time(1 / (focal_mm * crop), step) == time


@given(st.floats(1e-5, 60.0), st.sampled_from(Step))
def test_the_dial_time_is_the_slowest_that_keeps_the_limit(limit_s: float, step: Step) -> None:
    """No slower engraved time keeps it, and where there is none even the fastest does not."""
    nominal = Dial(Setting.SHUTTER, step).nominal
    found = slowest_dial_time(limit_s, step)
    if found is None:
        assert min(nominal) > limit_s
    else:
        assert parse_value(Setting.SHUTTER, found) == max(time_s for time_s in nominal if time_s <= limit_s)


@given(st.sampled_from(Dial(Setting.SHUTTER, Step.THIRD).positions), st.floats(1.0, 3.0), st.booleans())
def test_a_time_that_keeps_the_rule_never_warns(place: int, crop: float, exact: bool) -> None:
    """Whether a camera writes the engraved time or the exact one behind it, keeping 1 / focal length is enough."""
    dial = Dial(Setting.SHUTTER, Step.THIRD)
    engraved = dial.nominal[place - dial.positions.start]
    settings = Settings(dial.value(place) if exact else engraved)
    equivalent = 1 / engraved
    found = hazards(plan(), Metadata(settings, focal_mm=equivalent / crop, focal_35mm=equivalent))
    assert found == ()


@pytest.mark.parametrize(
    ("focal_mm", "distance_m", "pixel_um", "speed_m_s", "time_s", "pixels"),
    [(85, 2.5, 4.4, 0.1, 1 / 125, 6.4), (85, 2.5, 4.4, 0.5, 1 / 125, 32), (85, 2.5, 4.4, 2.0, 1 / 2000, 8),
     (50, 3.0, 5.9, 1.0, 1 / 200, 14.4)],
)  # fmt: skip
def test_smear_of_worked_examples(
    focal_mm: float, distance_m: float, pixel_um: float, speed_m_s: float, time_s: float, pixels: float
) -> None:
    """v t m / p with m = f / (s - f), computed by hand from the thin-lens equation."""
    length_um = 1000 * smear_mm(speed_m_s, distance_m, focal_mm, time_s)
    assert length_um / pixel_um == pytest.approx(pixels, rel=0.01)


def test_a_subject_inside_the_focal_length_has_no_smear() -> None:
    """The lens forms no image of it."""
    with pytest.raises(ValueError, match="nearer than the focal length"):
        smear_mm(1.0, 0.05, 50.0, 0.01)


@given(st.floats(0.1, 50), st.floats(0.5, 100), st.floats(10, 400), st.sampled_from(Step))
def test_the_time_advised_against_movement_is_enough(speed: float, distance: float, focal: float, step: Step) -> None:
    """Who follows the advice is not warned of movement again."""
    under = replace(plan(tripod=True, speed_m_s=speed, distance_m=distance), step=step)
    reason = said(under, capture("1/60 f/2.8 100", focal_mm=focal)).get("movement", "")
    if " or faster" in reason:
        advised = reason.partition(": ")[2].split()[0]
        if reason.partition(": ")[2].split()[1] == "s":
            advised += "s"
        assert "movement" not in said(under, capture(f"{advised} f/2.8 100", focal_mm=focal))


@pytest.mark.parametrize(
    ("mains_hz", "modulation", "denominator", "stops"),
    [(50, 1.0, 50, 0), (50, 1.0, 100, 0), (50, 1.0, 60, 0.48), (50, 1.0, 125, 0.69), (50, 1.0, 160, 1.47),
     (50, 1.0, 200, 2.17), (50, 1.0, 250, 2.85), (60, 1.0, 60, 0), (60, 1.0, 120, 0), (60, 1.0, 125, 0.12),
     (60, 1.0, 50, 0.37), (60, 1.0, 100, 0.45), (60, 1.0, 200, 1.60), (50, 0.3, 125, 0.20), (50, 0.3, 200, 0.56)],
)  # fmt: skip
def test_flicker_of_worked_examples(mains_hz: int, modulation: float, denominator: int, stops: float) -> None:
    """Swing of lamps that vary at 100 and 120 Hz (computed from the model; the safe times are common practice)."""
    assert flicker_swing(1 / denominator, mains_hz, modulation) == pytest.approx(stops, abs=0.006)


def test_the_assumed_depth_fits_a_measured_burst() -> None:
    """A burst at 1/200 under a 100 Hz lamp was reported to swing by nearly one stop."""
    assert flicker_swing(1 / 200, 50, MODULATION) == pytest.approx(0.95, abs=0.01)


@given(st.floats(1e-4, 0.2), st.sampled_from([50, 60]), st.floats(0.05, 0.95), st.floats(0, 1))
def test_flicker_is_no_less_than_any_two_frames_show(time_s: float, hertz: int, depth: float, phase: float) -> None:
    """Light 1 + m sin, summed over the open time from any start, stays within the stated swing of its brightest."""

    def seen(start: float) -> float:
        turn = 4 * math.pi * hertz
        return time_s + depth / turn * (math.cos(turn * start) - math.cos(turn * (start + time_s)))

    starts = [place / 200 / (2 * hertz) for place in range(200)]
    exposures = [seen(start) for start in starts]
    swing = flicker_swing(time_s, hertz, depth)
    assert math.log2(max(exposures) / min(exposures)) == pytest.approx(swing, abs=0.005)
    assert abs(math.log2(seen(phase / hertz) / max(exposures))) <= swing + 0.005


@pytest.mark.parametrize(
    ("hertz", "step", "times"),
    [(50, Step.THIRD, ("1/50", "1/100")), (60, Step.THIRD, ("1/60", "1/125")), (50, Step.HALF, ("1/45", "1/90")),
     (60, Step.HALF, ("1/60", "1/125")), (50, Step.FULL, ("1/15", "1/30")), (60, Step.FULL, ("1/60", "1/125"))],
)  # fmt: skip
def test_steady_times_are_on_the_dial(hertz: int, step: Step, times: tuple[str, str]) -> None:
    """The advice names times that the camera has; 1/120 is on no dial, 1/125 is as good as steady."""
    assert steady_times(hertz, step) == times


@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize(
    ("hertz", "time"),
    [(50, "1/100"), (50, "1/50"), (50, "1/25"), (50, "1/10"), (60, "1/125"), (60, "1/60"), (60, "1/30"), (60, "1/15")],
)
def test_safe_times_never_warn_of_flicker(hertz: int, time: str, exact: bool) -> None:
    """Neither as engraved nor as the exact times behind them (1/60 is 1/64)."""
    settings = capture(f"{time} f/2.8 100").settings
    settings = settings.snapped(Step.THIRD) if exact else settings
    assert hazards(plan(mains_hz=hertz), Metadata(settings)) == ()


@pytest.mark.parametrize(("sync", "fine", "over"), [("1/250", "1/250", "1/320"), ("1/160", "1/160", "1/200"),
                                                    ("1/60", "1/60", "1/80"), ("1/180", "1/180", "1/200")])  # fmt: skip
@pytest.mark.parametrize("light", ["flash", "mixed"])
def test_sync_speed_itself_is_fine(light: str, sync: str, fine: str, over: str) -> None:
    """Sync speed may be used, engraved or exact; the next dial time is too fast."""
    under = replace(plan(light, tripod=True), sync_s=Settings(parse_value(Setting.SHUTTER, sync)).snapped(
        Step.HALF if sync == "1/180" else Step.THIRD).shutter_s or 0.0)  # fmt: skip
    for time_s in (parse_value(Setting.SHUTTER, fine), under.sync_s):
        assert hazards(under, Metadata(Settings(time_s))) == ()
    assert "sync" in said(under, capture(f"{over} f/2.8 100"))


def test_airy_disc_of_textbook_optics() -> None:
    """2.44 lambda N: 14.8 micrometres at f/11 and 21.5 at f/16 for green light of 0.55 micrometres."""
    assert airy_um(11) == pytest.approx(14.76, abs=0.01)
    assert airy_um(16) == pytest.approx(21.47, abs=0.01)


@pytest.mark.parametrize(("pixel_um", "first"), [(3.3, "f/13"), (4.35, "f/13"), (5.95, "f/14"), (8.4, "f/20")])
def test_diffraction_begins_where_the_pixels_say(pixel_um: float, first: str) -> None:
    """Beyond f/11, later on larger pixels, and from there on at every smaller aperture."""
    dial = Dial(Setting.APERTURE, Step.THIRD)
    warned = [n for n in dial.nominal if said(plan(), Metadata(Settings(aperture=n), pixel_um=pixel_um))]
    assert min(warned) == parse_value(Setting.APERTURE, first)
    assert warned == [n for n in dial.nominal if n >= min(warned)]


def test_a_ceiling_that_was_only_assumed_gives_way_to_the_plan() -> None:
    """Who allows ISO 12800 in the plan and names no ceiling has accepted it; a named ceiling stands."""
    text = GOOD.replace('allow = [100, "ceiling"]', "allow = [100, 12800]")
    frame = capture("1/250 f/2.8 12800")
    assert said(parse_plan(text, "mine.toml"), frame) == {}
    assert list(said(parse_plan(text, "mine.toml", 6400.0), frame)) == ["ceiling"]
    assert list(said(parse_plan(GOOD, "mine.toml"), frame)) == ["ceiling"]


def test_a_ceiling_that_equals_the_assumed_one_is_still_the_users() -> None:
    """Who gives ISO 3200 as the ceiling means it, although nothing said would have led to the same number."""
    text = GOOD.replace('allow = [100, "ceiling"]', "allow = [100, 12800]")
    frame = capture("1/250 f/2.8 6400")
    assert list(said(parse_plan(text, "mine.toml", 3200.0), frame)) == ["ceiling"]
    assert list(said(parse_plan(text, "mine.toml"), frame)) == []


@pytest.mark.parametrize("iso", [64, 80, 100, 125, 1250, 32000, 51200])
def test_speeds_that_bodies_have_are_not_called_extended(iso: int) -> None:
    """64 to 51200, engraved or exact."""
    for value in (float(iso), Settings(iso=iso).snapped(Step.THIRD).iso):
        assert "extended" not in said(plan(), Metadata(Settings(iso=value)))


def test_crop_comes_from_both_focal_lengths() -> None:
    """It is the ratio of the two, and unknown without one of them."""
    assert crop_factor(Metadata(focal_mm=50.0, focal_35mm=75.0)) == 1.5
    assert crop_factor(Metadata(focal_mm=50.0)) is None
    assert crop_factor(Metadata(focal_35mm=50.0)) is None


PROGRAMS: tuple[Program, ...] = ("automatic", "aperture priority", "shutter priority", "other")


@pytest.mark.parametrize("program", PROGRAMS)
def test_every_program_but_manual_is_told(program: Program) -> None:
    """Manual is silent, any other is named."""
    assert list(said(plan(), capture(program=program))) == ["program"]


scenes = st.builds(
    Scene,
    tripod=st.booleans(),
    speed_m_s=st.none() | st.floats(0, 100),
    distance_m=st.none() | st.floats(0, 10_000, exclude_min=True),
    mains_hz=st.sampled_from([None, 50, 60]),
)
numbers = st.from_regex(r"[0-9]{1,7}/[0-9]{1,7}", fullmatch=True) | st.sampled_from(["1", "2", "3", "85", "1/60"])


@given(plans(), scenes, st.dictionaries(st.sampled_from(KEYS), numbers | st.text(max_size=6), max_size=30))
def test_hazards_never_raise(under: Plan, scene: Scene, tags: dict[str, str]) -> None:
    """Whatever a file says and a plan holds, the answer is short sentences of known kinds."""
    for finding in hazards(replace(under, scene=scene), metadata_from(tags)):
        assert finding.kind in {kind for _, _, kind, _ in SENTENCES}
        assert len(finding.reason) < 160
        assert "None" not in finding.reason and "nan" not in finding.reason and "inf" not in finding.reason


@given(plans(), scenes)
def test_an_empty_capture_is_silent(under: Plan, scene: Scene) -> None:
    """Nothing known, nothing said."""
    assert hazards(replace(under, scene=scene), Metadata()) == ()


@pytest.mark.parametrize("name", shipped_names())
def test_shipped_plans_start_without_a_warning(name: str) -> None:
    """A capture at a plan's own start, with an 85 mm lens on 24 megapixels full frame, gives no warning."""
    shipped = load_plan(name)
    start = Settings(shipped.shutter.start, shipped.aperture.start, shipped.iso.start)
    assert hazards(shipped, Metadata(start, "manual", focal_mm=85.0, focal_35mm=85.0, pixel_um=5.95)) == ()
