"""Headings, paragraphs and tables, one below the other, from page to page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from emulator.plaintext import clean_line
from harness.report.sheet.page import (
    EDGE_MM,
    Anchor,
    Line,
    Page,
    Point,
    Shape,
    Words,
    box,
    fitted,
    wrapped,
)

TEXT_MM = 3.0  # size of text: 8.5 point
_LEADING = 1.35
_HEAD_MM = 8.0  # of the line with the page's title
FOOT_MM = 6.0


class Column(NamedTuple):
    """A column of a table: its head, its share of the width, where its text goes."""

    head: str
    share: float
    anchor: Anchor = "start"


@dataclass
class Flow:
    """Pages of one size that fill from the top."""

    size: Point
    title: str
    pages: list[Page] = field(default_factory=list)
    y: float = 0.0
    chapter: str = ""

    @property
    def width(self) -> float:
        """Width of the text."""
        return self.size[0] - 2 * EDGE_MM

    @property
    def bottom(self) -> float:
        """Where the text of a page ends."""
        return self.size[1] - EDGE_MM - FOOT_MM

    @property
    def left_mm(self) -> float:
        """What is left of the page."""
        return self.bottom - self.y

    def begin(self, chapter: str) -> Page:
        """A new page with a head."""
        self.chapter = clean_line(chapter)
        page = Page(self.size)
        self.pages.append(page)
        top = EDGE_MM + 5
        page.shapes.append(
            Words(EDGE_MM, top, fitted(self.chapter, 4.6, self.width, True), 4.6, bold=True)
        )
        page.shapes.append(
            Line(((EDGE_MM, top + 2), (self.size[0] - EDGE_MM, top + 2)), "#222222", 0.4)
        )
        self.y = EDGE_MM + _HEAD_MM + 2
        return page

    def need(self, mm: float) -> None:
        """Go to a new page if less than so much is left."""
        if not self.pages or self.left_mm < mm:
            more = "" if self.chapter.endswith(", continued") else ", continued"
            self.begin(self.chapter + more)

    def add(self, *shapes: Shape) -> None:
        """Shapes on the page, as they are."""
        self.pages[-1].shapes.extend(shapes)

    def heading(self, text: str, keep: float = 14.0) -> None:
        """A heading, with so much room below it."""
        self.need(7 + keep)
        self.y += 6
        self.add(Words(EDGE_MM, self.y, clean_line(text), 3.6, bold=True))
        self.y += 2.5

    def paragraph(self, text: str, *, bold: bool = False, indent: float = 0.0) -> None:
        """A text in lines."""
        for line in wrapped(clean_line(text), TEXT_MM, self.width - indent, bold):
            self.need(TEXT_MM * _LEADING)
            self.y += TEXT_MM * _LEADING
            self.add(Words(EDGE_MM + indent, self.y, line, TEXT_MM, bold=bold))
        self.y += 1.2

    def caution(self, texts: Sequence[str]) -> None:
        """Cautions in a frame."""
        lines = [
            (line, number == 0)
            for text in texts
            for number, line in enumerate(wrapped(clean_line(text), TEXT_MM, self.width - 12))
        ]
        step = TEXT_MM * _LEADING
        while lines:
            self.need(4 * step)
            fits = min(len(lines), max(1, int((self.left_mm - 4) / step)))
            now, lines = lines[:fits], lines[fits:]
            high = len(now) * step + 3
            self.add(box(EDGE_MM, self.y + 1, self.width, high, "#8a4b00", 0.5, "#fff4e0"))
            for number, (text, first) in enumerate(now, 1):
                y = self.y + 1 + number * step
                if first:
                    self.add(Words(EDGE_MM + 3, y, "!", TEXT_MM, bold=True))
                self.add(Words(EDGE_MM + 7, y, text, TEXT_MM))
            self.y += high + 3

    def table(
        self, columns: Sequence[Column], rows: Sequence[Sequence[str]], *, tick: bool = False
    ) -> None:
        """A table whose cells wrap; its head comes again on each page. tick: boxes to tick before
        each row, and room for a date after it."""
        before, after = (6.0, 22.0) if tick else (0.0, 0.0)
        whole = self.width - before - after
        shares = sum(column.share for column in columns)
        widths = [whole * column.share / shares for column in columns]
        self._table_head(columns, widths, before, after)
        for number, row in enumerate(rows):
            cells = [
                wrapped(clean_line(text), TEXT_MM, width - 3)
                for text, width in zip(row, widths, strict=True)
            ]
            step = TEXT_MM * 1.25
            high = max(len(cell) for cell in cells) * step + 1.6
            if self.left_mm < high:
                self.need(high)
                self._table_head(columns, widths, before, after)
            if number % 2:
                self.add(box(EDGE_MM, self.y, self.width, high, "", 0.0, "#f2f2f2"))
            x = EDGE_MM + before
            if tick:
                self.add(box(EDGE_MM + 1, self.y + 1.0, 3.2, 3.2, "#222222", 0.3, "#ffffff"))
                line = self.y + step + 0.8
                right = EDGE_MM + self.width
                self.add(Line(((right - after + 2, line), (right - 1, line)), "#888888", 0.2))
            for column, cell, width in zip(columns, cells, widths, strict=True):
                self._cell(cell, x, width, column.anchor, step)
                x += width
            self.y += high
        self.add(Line(((EDGE_MM, self.y), (EDGE_MM + self.width, self.y)), "#888888", 0.2))
        self.y += 2

    def _cell(
        self, lines: Sequence[str], x: float, width: float, anchor: Anchor, step: float
    ) -> None:
        at = {"start": x + 1.5, "middle": x + width / 2, "end": x + width - 1.5}[anchor]
        for number, text in enumerate(lines, 1):
            self.add(Words(at, self.y + number * step - 0.2, text, TEXT_MM, anchor))

    def _table_head(
        self, columns: Sequence[Column], widths: Sequence[float], before: float, after: float
    ) -> None:
        heads = [
            wrapped(column.head, 2.7, width - 3, True)
            for column, width in zip(columns, widths, strict=True)
        ]
        high = max(len(head) for head in heads) * 3.4 + 2
        self.need(high + 8)
        x = EDGE_MM + before
        for column, head, width in zip(columns, heads, widths, strict=True):
            at = {"start": x + 1.5, "middle": x + width / 2, "end": x + width - 1.5}[column.anchor]
            for number, text in enumerate(head, 1):
                self.add(Words(at, self.y + number * 3.4, text, 2.7, column.anchor, True))
            x += width
        if after:
            self.add(Words(x + 2, self.y + 3.4, "date, by", 2.7, bold=True))
        self.y += high
        self.add(Line(((EDGE_MM, self.y), (EDGE_MM + self.width, self.y)), "#222222", 0.3))


def numbered(pages: Sequence[Page], title: str) -> None:
    """Write title and page number at the foot of each page."""
    for number, page in enumerate(pages, 1):
        y = page.size[1] - EDGE_MM + 1
        page.shapes.append(Words(EDGE_MM, y, fitted(clean_line(title), 2.6, 120), 2.6))
        right = page.size[0] - EDGE_MM
        page.shapes.append(Words(right, y, f"page {number} of {len(pages)}", 2.6, "end"))
