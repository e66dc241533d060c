"""`python -m tests.outside.generated_find [N]` plays N sessions (50), and N / 20 campaigns."""

from __future__ import annotations

import sys

from tests.outside.generated_find import played
from tests.outside.generated_find.pool import play

count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
print(play(range(count)))
for number in range(-(-count // 20)):
    judged, said = played.wrong(number)
    print(f"campaign {number}: {judged} faults played, {len(said)} differ", *said, sep="\n  - ")
