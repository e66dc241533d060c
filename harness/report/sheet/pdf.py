"""Pages as one PDF. The same pages give the same bytes; fonts are embedded."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import cache
from typing import Any

from emulator.errors import of_extra
from emulator.files import MARK
from emulator.plaintext import clean_line
from harness.report.sheet.page import FONTS, Dot, Line, Page, Shape, Words, font_path

_POINTS = 72 / 25.4  # to a mm


def pdf(pages: Sequence[Page], title: str) -> bytes:
    """The pages as PDF. Raises UnsupportedError without reportlab."""
    with of_extra("sheet", "a PDF needs reportlab", instead="write -o wall.svg"):
        from reportlab.pdfbase import pdfmetrics  # slow to load
        from reportlab.pdfbase.ttfonts import TTFont
        from reportlab.pdfgen.canvas import Canvas
    for bold, name in FONTS.items():
        pdfmetrics.registerFont(TTFont(name, str(font_path(bold))))
    target = io.BytesIO()
    canvas = Canvas(target, invariant=1, pageCompression=1, initialFontName=FONTS[False])
    canvas.setTitle(clean_line(title))
    canvas.setSubject(MARK)
    canvas.setCreator("foreglow")
    for page in pages:
        width, height = page.size
        canvas.setPageSize((width * _POINTS, height * _POINTS))
        canvas.scale(_POINTS, _POINTS)
        canvas.translate(0, height)
        for (x, y, wide, tall), shapes in page.clips:
            canvas.saveState()
            path = canvas.beginPath()
            path.rect(x, -y - tall, wide, tall)
            canvas.clipPath(path, stroke=0, fill=0)
            _draw(canvas, shapes)
            canvas.restoreState()
        _draw(canvas, page.shapes)
        canvas.showPage()
    canvas.save()
    return target.getvalue()


def _draw(canvas: Any, shapes: Sequence[Shape]) -> None:
    for shape in shapes:
        if isinstance(shape, Line):
            _line(canvas, shape)
        elif isinstance(shape, Dot):
            _pen(canvas, shape.colour, shape.width, ())
            if shape.fill:
                canvas.setFillColorRGB(*_rgb(shape.fill))
            paint = {"stroke": int(shape.width > 0), "fill": int(bool(shape.fill))}
            canvas.circle(shape.x, -shape.y, shape.radius, **paint)
        else:
            _words(canvas, shape)


@cache
def _rgb(colour: str) -> tuple[float, float, float]:
    """Red, green and blue, 0 to 1, of '#rrggbb'."""
    red, green, blue = (int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5))
    return red, green, blue


def _pen(canvas: Any, colour: str, width: float, dash: tuple[float, ...]) -> None:
    canvas.setStrokeColorRGB(*_rgb(colour))
    canvas.setLineWidth(width)
    canvas.setDash(list(dash))


def _line(canvas: Any, line: Line) -> None:
    if line.width > 0:
        _pen(canvas, line.colour, line.width, line.dash)
    if line.fill:
        canvas.setFillColorRGB(*_rgb(line.fill))
    path = canvas.beginPath()
    path.moveTo(line.points[0][0], -line.points[0][1])
    for x, y in line.points[1:]:
        path.lineTo(x, -y)
    if line.closed:
        path.close()
    canvas.drawPath(path, stroke=int(line.width > 0), fill=int(bool(line.fill)))


def _words(canvas: Any, words: Words) -> None:
    canvas.setFillColorRGB(*_rgb(words.colour))
    canvas.setFont(FONTS[words.bold], words.size)
    put = {
        "start": canvas.drawString,
        "middle": canvas.drawCentredString,
        "end": canvas.drawRightString,
    }[words.anchor]
    if words.turned:
        canvas.saveState()
        canvas.translate(words.x, -words.y)
        canvas.rotate(90)
        put(0, 0, words.text)
        canvas.restoreState()
    else:
        put(words.x, -words.y, words.text)
