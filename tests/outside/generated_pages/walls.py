"""A wall at random with hostile texts, and right and wrong code for it."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass, field

MARK = "zqz"  # in every hostile text, so that it can be found again
HOSTILE = (
    f"</script><script>{MARK}()</script>",
    f"<img src=http://{MARK}.invalid/a onerror={MARK}()>",
    f'" onmouseover="{MARK}()" x=\'',
    f"' autofocus onfocus='{MARK}()",
    f"</bdi></p></title></style><h1 id={MARK}>",
    f"<!-- {MARK} --><![CDATA[",
    f"{{{{ {MARK}.__class__ }}}} {{% raw %}}",
    f"&lt;{MARK}&#x3c;&amp;&nbsp;",
    f"\u202e{MARK}\u2066 \u05d0\u05d1",
    f"{MARK}\u2028\u2029\ufeff\u00ad",
    f"{MARK} \U0001f600\U0001f468\u200d\U0001f469\u200d\U0001f467 e\u0301\u0301\u0301",
    f"{MARK} " + "long" * 49,
    f"`${{{MARK}}}` \\u003cb\\u003e \\",
    f"javascript:{MARK}()//",
    f"=1+1|{MARK}",
)
TWO_LINES = (
    "long" * 500 + f"{MARK}\r\nsecond <b>line</b>\r\x1b[31mred\x00"
)  # where newlines can be: errors of code
NAMES = (  # of files; a slash cannot be in one
    "w",
    f"<b onclick={MARK}()>",
    f"\"{MARK}' &amp; x",
    f"\u202e{MARK}\u05d0",
    f"{MARK}\U0001f600",
    f"{MARK} {{{{ 1 }}}}",
)
FUNCTIONS = ("to_wire", "zqz_ħ", "шоу_zqz", "عرض_zqz", "zqz" * 30)
ORDERS = {"WS2812B": (1, 0, 2), "WS2812B-V5": (1, 0, 2), "SK6812": (1, 0, 2), "SK6812-RGBW": None}
MISTAKES = ("none", "channels", "reversed", "swapped", "dim", "raises", "short", "hidden")


@dataclass
class Wall:
    """Words of a display file, and the name of the file and of the function."""

    name: str
    function: str
    columns: int
    rows: int
    chip: str
    along_rows: bool
    serpentine: bool
    right: bool
    bottom: bool
    about: str
    mistake: str
    text: str
    gap: tuple[int, int, int, int] | None
    names: list[str] = field(default_factory=list)  # of lines; empty: one line by words

    def strips(self) -> list[list[tuple[int, int]]]:
        """Cells of each strip, in the order of the data; gaps let the strip go on, unseen."""
        count, length = (self.rows, self.columns) if self.along_rows else (self.columns, self.rows)
        last, back = (self.bottom, self.right) if self.along_rows else (self.right, self.bottom)
        found = []
        for k in range(count):
            strip = count - 1 - k if last else k
            turned = back ^ (self.serpentine and k % 2 == 1)
            places = range(length - 1, -1, -1) if turned else range(length)
            found.append([(i, strip) if self.along_rows else (strip, i) for i in places])
        return [[cell for cell in strip if not self.missing(cell)] for strip in found]

    def missing(self, cell: tuple[int, int]) -> bool:
        """Whether the cell is in the gap."""
        if self.gap is None:
            return False
        (c, r, w, h), (x, y) = self.gap, cell
        return c <= x < c + w and r <= y < r + h

    def lines(self) -> list[list[tuple[int, int]]]:
        """Cells of each line, in the order of the data."""
        strips = self.strips()
        if self.names:
            return strips
        return [[cell for strip in strips for cell in strip]]

    def toml(self) -> str:
        """The display file."""
        put = [
            f"about = {_quoted(self.about)}",
            f"[grid]\ncolumns = {self.columns}\nrows = {self.rows}",
        ]
        if self.gap:
            c, r, w, h = self.gap
            put.append(f"[[grid.gaps]]\ncolumn = {c}\nrow = {r}\ncolumns = {w}\nrows = {h}")
        put.append(f'[chip]\npart = "{self.chip}"')
        put.append("[canvas]\ncurve = 1")
        for name, cells in zip(self.names, self.lines(), strict=False):
            put.append(
                f"[[line]]\nname = {_quoted(name)}\n[[line.run]]"
                f"\nfrom = {list(cells[0])}\nto = {list(cells[-1])}"
            )
        if not self.names:
            start = f"{'bottom' if self.bottom else 'top'}-{'right' if self.right else 'left'}"
            put.append(
                f'[wiring]\nstart = "{start}"\nalong = "{"rows" if self.along_rows else "columns"}"'
                f'\npath = "{"serpentine" if self.serpentine else "progressive"}"'
            )
        put.append(f"[[power.supply]]\nname = {_quoted(self.text.replace(chr(10), ' '))}")
        return "\n\n".join(put) + "\n"

    def code(self) -> str:
        """A module with the function, right or wrong."""
        cells = [cell for line in self.lines() for cell in line]
        if self.mistake == "reversed":
            cells = cells[::-1]
        if self.mistake == "swapped" and len(cells) > 1:
            cells[0], cells[-1] = cells[-1], cells[0]
        rows, columns = [y for _, y in cells], [x for x, _ in cells]
        order = ORDERS[self.chip]
        words = ["import numpy as np", f"ROWS, COLUMNS = {rows}, {columns}"]
        words += [f"def {self.function}(picture):", "    rgb = np.asarray(picture)[ROWS, COLUMNS]"]
        if self.mistake == "channels":
            words.append("    rgb = rgb[:, ::-1]")
        if self.mistake == "dim":
            words.append("    rgb = rgb // 2")
        if self.mistake == "raises":
            words.append(f"    raise ValueError({self.text + TWO_LINES!a})")
        if order:
            words.append(f"    out = rgb[:, {list(order)}]")
        else:  # white of the red, green and blue alike
            words.append("    white = rgb.min(axis=1, keepdims=True)")
            words.append("    out = np.hstack([(rgb - white)[:, [1, 0, 2]], white])")
        words.append(
            f"    return out.astype(np.uint8).tobytes(){'[:-1]' * (self.mistake == 'short')}"
        )
        return "\n".join(words) + "\n"

    def map_csv(self) -> str:
        """The map of the user, right or wrong."""
        rows = [[n, k, *cell] for n, line in enumerate(self.lines()) for k, cell in enumerate(line)]
        if self.mistake in ("swapped", "reversed", "channels") and len(rows) > 1:
            rows[0][2:], rows[-1][2:] = rows[-1][2:], rows[0][2:]
        return "line,led,column,row\n" + "".join(",".join(map(str, row)) + "\n" for row in rows)


def _quoted(text: str) -> str:
    """A basic string of TOML; its escapes are those of JSON, except for pairs of surrogates."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def wall(number: int) -> Wall:
    """The wall of this number."""
    r = random.Random(f"pages {number}")
    kind = r.choices(("one", "tiny", "usual", "large"), (1, 3, 6, 1))[0]
    columns, rows = {
        "one": (1, 1),
        "tiny": r.choice(((1, r.randint(2, 9)), (r.randint(2, 9), 1))),
        "usual": (r.randint(2, 16), r.randint(2, 12)),
        "large": r.choice(((36, 20), (40, 18), (40, 30))),
    }[kind]
    made = Wall(
        name=r.choice(NAMES),
        function=r.choice(FUNCTIONS),
        columns=columns,
        rows=rows,
        chip=r.choice(tuple(ORDERS)),
        along_rows=r.random() < 0.5,
        serpentine=r.random() < 0.6,
        right=r.random() < 0.5,
        bottom=r.random() < 0.5,
        about=r.choice(HOSTILE),
        mistake=r.choice(MISTAKES),
        text=r.choice(HOSTILE),
        gap=None,
    )
    if min(columns, rows) >= 4 and r.random() < 0.5:
        made.gap = (r.randint(1, columns - 3), r.randint(1, rows - 3), r.randint(1, 2), 1)
    if r.random() < 0.4 and made.gap is None:
        made.names = [r.choice(HOSTILE) for _ in made.strips()]
    return made
