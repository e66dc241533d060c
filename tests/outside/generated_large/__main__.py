"""`python -m tests.outside.generated_large [FIRST [COUNT]]` checks COUNT (20) walls."""

import sys

from tests.outside.generated_large.judged import judge

first, count = (int(word) for word in (sys.argv[1:] + ["0", "20"][len(sys.argv) - 1 :])[:2])
for number in range(first, first + count):
    said, differs = judge(number, *((15_000, 30_000) if number % 7 == 6 else ()))
    print(said, *differs, sep="\n  DIFFERS ", flush=True)
