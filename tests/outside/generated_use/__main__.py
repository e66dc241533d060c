"""`python -m tests.outside.generated_use PART FIRST LAST` (LAST not included), or `PART kinds`."""

from __future__ import annotations

import sys
import time
from collections import Counter

from tests.outside.generated_use.cases import case, kinds


def main() -> int:
    part, first, *last = sys.argv[1:]
    if first == "kinds":
        print(*(f"{n} {k.__name__}" for n, k in enumerate(kinds(part))), sep="\n")
        return 0
    tried: Counter[str] = Counter()
    bad: Counter[str] = Counter()
    for number in range(int(first), int(last[0]) if last else int(first) + 1):
        begin = time.monotonic()
        outcome = case(part, number)
        print(f"{outcome}  ({time.monotonic() - begin:.1f} s)", flush=True)
        tried[outcome.kind] += 1
        bad[outcome.kind] += bool(outcome.complaints)
    print(*(f"{kind}: {bad[kind]} of {n} bad" for kind, n in tried.items()), sep="\n")
    return int(bad.total() > 0)


sys.exit(main())
