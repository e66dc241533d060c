"""Settings for the whole test run."""

from __future__ import annotations

from hypothesis import settings

pytest_plugins = ["pytester"]

# No deadline: these tests state what is right, never how fast; machines are noisy.
settings.register_profile("foreglow", deadline=None, max_examples=60)
settings.load_profile("foreglow")
