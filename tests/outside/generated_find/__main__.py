"""`python -m tests.outside.generated_find [N [FIRST]]` plays N sessions (50), and N / 20 campaigns.

FIRST: the number of the first session (0); each number is another wall, fault and person.
"""

from __future__ import annotations

import sys

from tests.outside.generated_find import played
from tests.outside.generated_find.pool import play

count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
print(play(range(first, first + count)))
for number in range(first, first + -(-count // 20)):
    judged, said = played.wrong(number)
    print(f"campaign {number}: {judged} faults played, {len(said)} differ", *said, sep="\n  - ")
