"""Settings for the whole test run."""

from __future__ import annotations

import os

from hypothesis import settings

pytest_plugins = ["pytester"]

# No deadlines: these tests state what is right, never how fast; machines are noisy. The usual
# run tries the same examples every time; `FOREGLOW_EXAMPLES=search` looks for new ones.
settings.register_profile("repeatable", deadline=None, max_examples=60, derandomize=True)
settings.register_profile("search", deadline=None, max_examples=1000)
settings.load_profile(os.environ.get("FOREGLOW_EXAMPLES", "repeatable"))
