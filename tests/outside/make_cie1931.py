"""Writes emulator/light/cie1931_5nm.csv anew: `python -m tests.outside.make_cie1931`.

Colour-science tabulates the CIE 1931 2° colour matching functions of ISO/CIE 11664-1 from 360 to
830 nm; the file keeps 380 to 780 nm in steps of 5 nm.
"""

from __future__ import annotations

from pathlib import Path

import colour

FILE = Path(__file__).parents[2] / "emulator" / "light" / "cie1931_5nm.csv"


def text() -> str:
    """The file's text: a heading, then one line every 5 nm."""
    functions = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    rows = [(nm, *functions[nm]) for nm in range(380, 781, 5)]
    lines = [f"{nm},{x:.6f},{y:.6f},{z:.6f}" for nm, x, y, z in rows]
    return "\n".join(["nm,x,y,z", *lines, ""])


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
