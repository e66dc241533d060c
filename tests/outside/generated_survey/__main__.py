"""`python -m tests.outside.generated_survey [FIRST] [COUNT] [KIND]` films cases and judges answers.

FOREGLOW_FILMS names a folder in which films are kept.
"""

import os
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

from tests.outside.generated_survey.run import run


def main() -> None:
    """Prints a line a film, and the shares by kind at the end."""
    first = int(sys.argv[1]) if len(sys.argv) > 1 else 0
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 20
    kind = sys.argv[3] if len(sys.argv) > 3 else None
    sums: dict[str, list[int]] = defaultdict(lambda: [0] * 7)
    with tempfile.TemporaryDirectory() as passing:
        kept = Path(os.environ.get("FOREGLOW_FILMS", passing))
        for number in range(first, first + count):
            case, verdict = run(number, kept, kind)
            row = (verdict.leds, verdict.placed, verdict.dark, verdict.flagged, verdict.wrong)
            row += (int(verdict.refused), len(verdict.complaints))
            name = case.unreadable or case.kind
            sums[name] = [a + b for a, b in zip(sums[name], row, strict=True)]
            print(
                number,
                name,
                "LEDs {} placed {} dark {} flagged {} wrong {} refused {}".format(*row[:6]),
                flush=True,
            )
            for text in verdict.told:
                print("   says:", text.replace("\n", " / ")[:500])
            for text in verdict.complaints[:6]:
                print("   BUT:", text, flush=True)
    for name, row in sums.items():
        words = (
            "{:14} LEDs {:6} placed {:6} dark {:4} flagged {:5} wrong {:4} refused {} complaints {}"
        )
        print(words.format(name, *row))


if __name__ == "__main__":
    main()
