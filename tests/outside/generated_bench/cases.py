"""A case: a wall and its papers; and inputs that must be refused whole."""

from __future__ import annotations

from tests.outside.generated_bench import pack, parts
from tests.outside.generated_bench.walls import wall
from tests.outside.generated_physical.run import folder, foreglow

PLAIN = '[grid]\ncolumns = 6\nrows = 4\n\n[chip]\npart = "WS2812B"\n\n[wiring]\n\n'
SHEET = "sheet w.toml -o out.pdf"
REFUSED = {  # what is added to the file, then the command
    "board too small": ("[board]\nwidth_mm = 100\n", SHEET),
    "cells beside the board": ("[board]\nleft_mm = 900\nwidth_mm = 300\n", SHEET),
    "negative margin": ("[board]\nmargin_mm = -5\n", SHEET),
    "negative loop": ("[board]\nservice_loop_mm = -1\n", SHEET),
    "hole of no size": ("[board]\nhole_mm = 0\n", SHEET),
    "nan": ("[board]\njoint_mm = nan\n", SHEET),
    "opening outside": (
        "[[board.opening]]\nx_mm = 9000\ny_mm = 0\nwidth_mm = 9\nheight_mm = 9\n",
        SHEET,
    ),
    "pads": ('[board]\npads = ["+", "GND"]\n', SHEET),
    "camera without a gap": ("[camera]\nbehind_mm = 9\nfield_deg = 40\n", SHEET),
    "paper": ("", "sheet w.toml -o out.pdf --paper a9"),
    "ending": ("", "sheet w.toml -o out.docx"),
    "prices": ("", "sheet w.toml -o out.pdf --prices none.toml"),
    **{
        f"cut {words}": ("", f"cut w.toml -o out {words}")
        for words in (
            "--bed 0x0", "--bed 300", "--bed -300x200", "--bed 5x5", "--bed nanxnan",
            "--bed infx200",
            "--kerf -1", "--kerf nan", "--kerf 9", "--thickness 0", "--thickness 99",
            "--thickness nan",
            "--fit 9", "--fit nan", "--strip -1x2", "--strip nanx2", "--line cut=A:pink",
            "--line saw=A:red", "--line cut=:red",
        )
    },
}  # fmt: skip


def faults(number: int) -> list[str]:
    """What goes wrong with the wall of this number."""
    made = wall(number)
    with folder() as place:
        display = place / "w.toml"
        display.write_text(made.text(), encoding="utf-8")
        paper = "letter" if number % 2 else "a4"
        wrong = pack.faults(made, display, paper, made.columns * made.rows <= 60)
        return wrong + parts.faults(made, display, number)


def story(number: int) -> str:
    """The wall in a line."""
    return str(wall(number))


def not_refused() -> list[str]:
    """Inputs that are taken, or refused without a word, or leave something behind."""
    wrong = []
    with folder() as place:  # without the fault it is taken
        (place / "w.toml").write_text(PLAIN, encoding="utf-8")
        if foreglow("cut", "w.toml", "-o", "out").status or foreglow(*SHEET.split()).status:
            wrong.append("the plain wall is refused")
    for name, (words, command) in REFUSED.items():
        with folder() as place:
            (place / "w.toml").write_text(PLAIN + words, encoding="utf-8")
            answer = foreglow(*command.split())
            left = sorted(p.name for p in place.iterdir() if p.name.startswith("out"))
            if answer.status != 2 or not answer.err.strip() or left:
                wrong.append(f"{name}: status {answer.status}, left {left}: {answer.err[-200:]}")
    return wrong
