"""`python -m tests.outside.generated_ways PART [FIRST LAST]` prints what goes wrong."""

from __future__ import annotations

import sys

from tests.outside.generated_ways.pool import rates, run

part, *limits = sys.argv[1:]
done, told = run(part, range(*map(int, limits)) if limits else None, progress=True)
print(told)
print(f"{part}: {rates(done)}")
