"""Settings that every test shares."""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("dev", deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("dev"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "dev")
