"""`python -m tests.outside.generated_faults [N [PART …]]` runs N cases a part (100)."""

from __future__ import annotations

import sys

from tests.outside.generated_faults.pool import PARTS, run

count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
for part in sys.argv[2:] or PARTS:
    done = run(part, range(count))
    print(f"{part}: {done}")
