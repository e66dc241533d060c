"""`python -m tests.outside.generated_bench [N]` prints what goes wrong with N walls."""

from __future__ import annotations

import sys

from tests.outside.generated_bench.cases import faults, not_refused, story

count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
bad = 0
for number in range(count):
    found = faults(number)
    bad += bool(found)
    if found:
        print(f"{number}, {story(number)}:\n  " + "\n  ".join(found), flush=True)
refusals = not_refused()
print("\n".join(refusals))
print(f"{bad} of {count} walls, and {len(refusals)} bad inputs went wrong")
