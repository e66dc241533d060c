"""A page as SVG, in mm."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

from emulator.files import MARK
from emulator.plaintext import clean_line
from harness.report.sheet.page import Dot, Line, Page, Shape, Words, width_of


def svg(page: Page, title: str) -> str:
    """The page as SVG text.

    Texts keep their width if another font must take the place of DejaVu Sans.
    """
    width, height = page.size
    body: list[str] = []
    clips: list[str] = []
    for number, ((x, y, wide, tall), shapes) in enumerate(page.clips):
        clips.append(
            f'<clipPath id="c{number}"><rect x="{_n(x)}" y="{_n(y)}" width="{_n(wide)}"'
            f' height="{_n(tall)}"/></clipPath>'
        )
        body += [f'<g clip-path="url(#c{number})">', *_drawn(shapes), "</g>"]
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(width)} {_n(height)}"'
            f' width="{_n(width)}mm" height="{_n(height)}mm"'
            ' font-family="DejaVu Sans, sans-serif">',
            f"<title>{escape(clean_line(title))}</title>",
            f"<desc>{MARK}</desc>",
            f"<defs>{''.join(clips)}</defs>" if clips else "",
            f'<rect width="{_n(width)}" height="{_n(height)}" fill="white"/>',
            *body,
            *_drawn(page.shapes),
            "</svg>",
            "",
        ]
    )


def _n(value: float) -> str:
    return f"{round(value, 3) + 0.0:g}"


def _drawn(shapes: Sequence[Shape]) -> Iterator[str]:
    for shape in shapes:
        if isinstance(shape, Line):
            yield _line(shape)
        elif isinstance(shape, Dot):
            yield (
                f'<circle cx="{_n(shape.x)}" cy="{_n(shape.y)}" r="{_n(shape.radius)}"'
                f"{_paint(shape.colour, shape.width, shape.fill)}/>"
            )
        else:
            yield _words(shape)


def _paint(colour: str, width: float, fill: str) -> str:
    pen = f' stroke="{colour}" stroke-width="{_n(width)}"' if width > 0 else ""
    return f' fill="{fill or "none"}"{pen}'


def _line(line: Line) -> str:
    points = " ".join(f"{_n(x)},{_n(y)}" for x, y in line.points)
    dash = f' stroke-dasharray="{" ".join(map(_n, line.dash))}"' if line.dash else ""
    kind = "polygon" if line.closed else "polyline"
    return f'<{kind} points="{points}"{_paint(line.colour, line.width, line.fill)}{dash}/>'


def _words(words: Words) -> str:
    turn = f' transform="rotate(-90 {_n(words.x)} {_n(words.y)})"' if words.turned else ""
    weight = ' font-weight="bold"' if words.bold else ""
    wide = width_of(words.text, words.size, words.bold)
    length = f' textLength="{_n(wide)}" lengthAdjust="spacingAndGlyphs"' if wide else ""
    return (
        f'<text x="{_n(words.x)}" y="{_n(words.y)}" font-size="{_n(words.size)}"'
        f' text-anchor="{words.anchor}" fill="{words.colour}"{weight}{length}{turn}>'
        f"{escape(words.text)}</text>"
    )
