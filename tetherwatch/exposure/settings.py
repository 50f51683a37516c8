"""The three camera settings of a capture, each known or None."""

from dataclasses import dataclass, replace

from tetherwatch.exposure.dial import Step, snap
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness

_FIELDS = {Setting.SHUTTER: "shutter_s", Setting.APERTURE: "aperture", Setting.ISO: "iso"}


@dataclass(frozen=True, slots=True)
class Settings:
    """Shutter in seconds, aperture as f-number, ISO arithmetic speed; None where the capture does not say."""

    shutter_s: float | None = None
    aperture: float | None = None
    iso: float | None = None

    def get(self, setting: Setting) -> float | None:
        """The value of a camera setting; None if unknown. Raises KeyError for `LIGHT`."""
        value: float | None = getattr(self, _FIELDS[setting])
        return value

    def with_value(self, setting: Setting, value: float) -> "Settings":
        """A copy with one camera setting replaced."""
        return replace(self, **{_FIELDS[setting]: value})

    def snapped(self, step: Step) -> "Settings":
        """A copy in exact dial values: each nominal number replaced by the dial step it stands for."""
        known = ((setting, self.get(setting)) for setting in CAMERA_SETTINGS)
        return Settings(**{_FIELDS[s]: snap(s, value, step) for s, value in known if value is not None})

    @property
    def brightness_stops(self) -> float | None:
        """Sum of the three brightnesses in stops (larger is brighter); None if any setting is unknown."""
        values = [(setting, self.get(setting)) for setting in CAMERA_SETTINGS]
        if any(value is None for _, value in values):
            return None
        return sum(brightness(setting, value) for setting, value in values if value is not None)
