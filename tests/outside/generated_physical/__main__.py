"""`python -m tests.outside.generated_physical PART FROM TO` prints what goes wrong."""

from __future__ import annotations

import sys

from tests.outside.generated_physical.pool import run

part, begin, end = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
print(f"{len(run(part, range(begin, end), progress=True))} of {end - begin} went wrong")
