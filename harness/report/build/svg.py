"""The SVG elements of the drawing: boxes, triangles, text, the paint of a line."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from emulator.plaintext import clean_line

# Okabe & Ito 2008, "Color Universal Design": distinct with any common colour blindness. Black,
# their eighth colour, is for the numbers here.
COLOURS = ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#D55E00", "#56B4E9", "#F0E442")
# Borders also differ, so that neighbouring lines stay distinct in a black-and-white print.
DASHES = ("none", "7 3", "2 2", "7 2 2 2")
Heading = tuple[int, int]


def n(value: float) -> str:
    """A coordinate, to a hundredth."""
    return f"{round(value, 2) + 0.0:g}" if abs(value) < 1e4 else f"{value:.2f}"


def colour(line: int) -> str:
    """The colour of a line; the colours repeat after seven."""
    return COLOURS[line % len(COLOURS)]


def paint(line: int) -> str:
    """The attributes that fill and border something in the style of a line."""
    dashes = DASHES[line % len(DASHES)]
    return f'fill="{colour(line)}" stroke="{colour(line)}" stroke-dasharray="{dashes}"'


def rect(kind: str, x: float, y: float, width: float, height: float, more: str = "") -> str:
    """A rectangle of class `kind`; `more`: further attributes, starting with a space."""
    place = f'x="{n(x)}" y="{n(y)}" width="{n(width)}" height="{n(height)}"'
    return f'<rect class="{kind}" {place}{more}/>'


def triangle(
    tip: tuple[float, float], heading: Heading, depth: float, half: float, fill: str
) -> str:
    """An arrow head: `depth` from foot to tip, `half` its half width."""
    (x, y), (dx, dy) = tip, heading
    foot = x - dx * depth, y - dy * depth
    corners = [
        (x, y),
        (foot[0] - dy * half, foot[1] + dx * half),
        (foot[0] + dy * half, foot[1] - dx * half),
    ]
    points = " ".join(f"{n(a)},{n(b)}" for a, b in corners)
    return f'<polygon class="arrow" points="{points}" fill="{fill}"/>'


def text(kind: str, x: float, y: float, content: str, size: float, *, upright: bool = False) -> str:
    """Text of class `kind` whose middle line runs through (x, y); `upright` reads upwards."""
    turn = f' transform="rotate(-90 {n(x)} {n(y)})"' if upright else ""
    place = f'x="{n(x)}" y="{n(y)}" dy=".35em" font-size="{n(size)}"{turn}'
    return f"<text class={quoteattr(kind)} {place}>{escape(clean_line(content))}</text>"


def shorten(content: str, most: int) -> str:
    """Text of at most `most` characters; … replaces what is cut off."""
    return content if len(content) <= most else content[: most - 1] + "…"
