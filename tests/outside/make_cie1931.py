"""Writes emulator/light/cie1931_1nm.csv again: `python -m tests.outside.make_cie1931`.

Colour-science tabulates the CIE 1931 2° colour matching functions of ISO/CIE 11664-1 from 360 to
830 nm in steps of 1 nm; the file keeps all of it. Cut off at 380 nm, a black body of 20,000 K would
come out 60 K wrong.
"""

from __future__ import annotations

from pathlib import Path

import colour

FILE = Path(__file__).parents[2] / "emulator" / "light" / "cie1931_1nm.csv"


def text() -> str:
    """The file's text: a heading, then one line a nanometre."""
    functions = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    rows = [(nm, *functions[nm]) for nm in range(360, 831)]
    lines = [f"{nm},{x:.12g},{y:.12g},{z:.12g}" for nm, x, y, z in rows]
    return "\n".join(["nm,x,y,z", *lines, ""])


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
