"""Output to the terminal: every text is cleaned before it is printed."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from typing import IO, Any

from rich.console import Console, ConsoleOptions, ConsoleRenderable, RenderHook
from rich.segment import Segment

from emulator.errors import fitted
from emulator.plaintext import clean


def say(text: str) -> None:
    """Print a line, cleaned, to standard output."""
    print(clean(text), flush=True)


def complain(message: str) -> None:
    """Print the message of an error, cleaned, to standard error; fitted to its terminal, if any."""
    if sys.stderr.isatty():
        message = fitted(message, terminal(stderr=True).width)
    print(clean(message), file=sys.stderr, flush=True)


def terminal(file: IO[str] | None = None, **settings: Any) -> Console:
    """A rich Console that cleans what it prints; `settings` are those of Console.

    rich's own styles stay: only the text between them is cleaned. Words are printed as they are:
    a name may hold `[/]` or `:fire:`, so styles are given by `Text`, not by markup.
    """
    console = Console(file=file, markup=False, emoji=False, **settings)
    console.push_render_hook(_Cleaning())
    return console


def as_text(width: int) -> tuple[Console, io.StringIO]:
    """A console that prints into a text, without colours, and the text."""
    text = io.StringIO()
    return terminal(text, width=width, color_system=None), text


class _Cleaning(RenderHook):
    """A render hook of rich: puts each thing that is printed into a `_Cleaned`."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        return [_Cleaned(renderable) for renderable in renderables]


class _Cleaned:
    """Prints something with the text in it cleaned; what rich itself controls stays."""

    def __init__(self, content: ConsoleRenderable) -> None:
        self._content = content

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[Segment]:
        for segment in console.render(self._content, options):
            if segment.control:
                yield segment
            else:
                yield Segment(clean(segment.text), segment.style)
