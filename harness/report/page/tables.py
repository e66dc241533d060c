"""Tables of the terminal as tables of the page."""

from __future__ import annotations

import rich.table
from rich.console import RenderableType
from rich.text import Text

from harness.report.page.page import Table

_BAR = " "  # the heading of a column that only draws a bar


def page_table(title: str, table: rich.table.Table, note: str = "") -> Table:
    """The same headings and rows, without styles; columns to the right stay there."""
    columns = [column for column in table.columns if column.header != _BAR]
    rows = zip(*([_plain(cell) for cell in column.cells] for column in columns), strict=True)
    numbers = [n for n, column in enumerate(columns) if column.justify == "right"]
    return Table(title, [_plain(c.header) for c in columns], list(rows), numbers, note)


def _plain(cell: RenderableType) -> str:
    return cell.plain if isinstance(cell, Text) else str(cell)
