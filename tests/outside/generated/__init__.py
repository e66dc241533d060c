"""Mistakes generated from the words of the requirement, judged from outside.

`levels`, `timing` and `maps` each make functions, programs or CSV maps that are wrong in a way that
is known (`Case.truth`), `right` makes styles of right code; `python -m tests.outside.generated
levels` runs all of a part through `foreglow check … --json`, prints those that were not detected,
not named, or drew a false statement, and the rates of each kind; `… levels 17` runs one case.
Nothing here reads foreglow's code: `walls` has index maps and bytes of its own, `run` calls the
command, `words` reads what it says, `cases` judges.

- Detected: exit status 1; of a function that ends or raises, 2 too.
- Named: findings name the kind of mistake, with its figures and its LEDs, in any plain words.
- False: a group of LEDs less than half of which is wrong, a false channel, level or figure, or a
  fault of the map, the colours or the time although those are right.
"""
