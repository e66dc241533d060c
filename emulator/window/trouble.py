"""The message over the last picture that says why the playing source gives none."""

from __future__ import annotations

from bisect import bisect_right

import pygame

from emulator.view.colours import ACCENT, DIM, INK
from emulator.view.status import Trouble
from emulator.view.trouble import CLOSING
from emulator.window.layout import Layout
from emulator.window.style import SMALL, TEXT, Lettering, panel

_PAD = 16
_ROW = 19  # from one line of the traceback to the next
_MOST_WIDE = 860


def wrapped(text: str, wide: int, px: int, lettering: Lettering) -> list[str]:
    """The text in lines no wider than `wide` screen pixels, if anything fits at all.

    Breaks between words where possible, else within a long word. Lines after the first keep
    its indent and four columns more.
    """
    indent = text[: len(text) - len(text.lstrip(" "))]
    lines, line = [], text
    while line and lettering.wide(line, px) > wide:
        fits = bisect_right(
            range(1, len(line)), wide, key=lambda end: lettering.wide(line[:end], px)
        )
        end = max(fits, 1)
        space = line.rfind(" ", len(line) - len(line.lstrip(" ")) + 1, end + 1)
        cut = space if space > 0 else end
        lines.append(line[:cut])
        rest = indent + "    " + line[cut:].lstrip(" ")
        if len(rest) >= len(line):  # narrower than the indent: no wrapping helps
            return lines
        line = rest
    return [*lines, line]


def draw_trouble(
    surface: pygame.Surface, layout: Layout, lettering: Lettering, trouble: Trouble
) -> pygame.Rect:
    """Draw the summary and, if there is room, the end of the traceback, where the cause is."""
    px, stage = layout.px, layout.stage
    pad, gap = px(_PAD), px(8)
    wide = min(stage.width - 2 * px(8), px(_MOST_WIDE))
    inner = max(wide - 2 * pad, 1)
    room = stage.height - 2 * px(8) - 2 * pad
    head = [
        lettering.line(line, ACCENT, TEXT)
        for text in trouble.summary.splitlines()
        for line in wrapped(text, inner, TEXT, lettering)
    ][: max(room // px(_ROW + 3), 1)]
    foot = lettering.line(lettering.fitted(CLOSING, inner, SMALL), DIM, SMALL)
    ends = len(trouble.trace) - (trouble.trace[-1:] == (trouble.summary,))  # shown above
    trace = [
        piece for line in trouble.trace[:ends] for piece in wrapped(line, inner, SMALL, lettering)
    ]
    left = room - len(head) * px(_ROW + 3) - 2 * gap - px(_ROW)
    fit = max(left // px(_ROW), 0)
    if len(trace) > fit:
        trace = ["…", *trace[len(trace) - fit + 1 :]] if fit > 1 else []
    high = len(head) * px(_ROW + 3) + len(trace) * px(_ROW) + px(_ROW) + 2 * gap + 2 * pad
    rect = pygame.Rect(0, 0, wide, min(high, stage.height))
    rect.center = stage.center
    panel(surface, rect, layout.scale)
    y = rect.top + pad
    for image in head:
        surface.blit(image, (rect.left + pad, y))
        y += px(_ROW + 3)
    y += gap
    for line in trace:
        surface.blit(lettering.line(line, INK, SMALL), (rect.left + pad, y))
        y += px(_ROW)
    if y + gap + px(_ROW) <= rect.bottom:
        surface.blit(foot, (rect.left + pad, y + gap))
    return rect
