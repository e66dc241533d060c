"""`python -m tests.outside.generated_faults [N [PART …]]` runs N cases a part (100).

A project takes a minute or two, so that only N / 20 of them run, and two more are killed midway.
"""

from __future__ import annotations

import signal
import sys

from tests.outside.generated_faults.pool import PARTS, run
from tests.outside.generated_faults.projects import killed

count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
for part in sys.argv[2:] or PARTS:
    done = run(part, range(-(-count // 20) if part == "projects" else count))
    print(f"{part}: {done}")
    if part == "projects":
        for how in (signal.SIGTERM, signal.SIGKILL):
            print(f"{how.name} after 5 s: {killed(how, 5.0) or 'all files as before'}")
