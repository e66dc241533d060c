"""What a PDF draws, in mm, from its own content streams: lines and texts with their places."""

from __future__ import annotations

import io
from typing import NamedTuple

import numpy as np
from pypdf import PdfReader
from pypdf.generic import ContentStream


class Drawn(NamedTuple):
    """The lines of a page as (K, 4) x0, y0, x1, y1 in mm from its top left corner; its texts."""

    size_mm: tuple[float, float]
    lines: np.ndarray
    text: str


def read_pdf(data: bytes) -> list[Drawn]:
    """Every page of a PDF."""
    reader = PdfReader(io.BytesIO(data))
    return [_page(reader, page) for page in reader.pages]


def _page(reader, page) -> Drawn:
    """Follows the matrix of each operator: ISO 32000-1:2008, 8.3.4 and 8.5.2."""
    height = float(page.mediabox.height)
    now, kept, at, lines = np.eye(3), [], np.zeros(2), []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        if operator == b"cm":
            a, b, c, d, e, f = (float(o) for o in operands)
            now = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ now
        elif operator == b"q":
            kept.append(now)
        elif operator == b"Q":
            now = kept.pop()
        elif operator in (b"m", b"l"):
            there = (np.array([float(operands[0]), float(operands[1]), 1]) @ now)[:2]
            if operator == b"l":
                lines.append([*at, *there])
            at = there
    found = np.array(lines).reshape(-1, 4)
    found[:, 1::2] = height - found[:, 1::2]
    size = float(page.mediabox.width) * 25.4 / 72, height * 25.4 / 72
    return Drawn(size, found * 25.4 / 72, page.extract_text())
