"""Measurements of speed, as ratios to anchors in the same run: `python -m tests.benchmarks`."""

import os

# Before numpy is loaded: as the command does.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
