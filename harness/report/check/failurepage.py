"""The page of failed tests: what was expected, what was shown, and how to run each again."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from emulator.files import MARK
from emulator.plaintext import clean

MADE_BY = f'<meta name="generator" content="{MARK}">'
_STYLE = """
:root { color-scheme: light dark; --ink: #1b1d21; --soft: #5a606b; --page: #fbfbf9; --edge: #d8d8d2;
  --bad: #a3261b; --panel: #f1f1ec; }
@media (prefers-color-scheme: dark) { :root { --ink: #e4e4dd; --soft: #9aa0ab; --page: #14161a;
  --edge: #34383f; --bad: #ff8f80; --panel: #1d2026; } }
body { margin: 0 auto; max-width: 76rem; padding: 1.5rem; background: var(--page);
  color: var(--ink); font: 16px/1.5 system-ui, sans-serif; }
h1 { font-size: 1.5rem; margin: 0 0 .3rem; }
h2 { font-size: 1.1rem; margin: 0; overflow-wrap: anywhere; }
h2::before { content: "✗ "; color: var(--bad); }
nav ol { padding-left: 1.6rem; } a { color: inherit; overflow-wrap: anywhere; }
section { border-top: 1px solid var(--edge); padding: 1.2rem 0; }
.soft { color: var(--soft); margin: .2rem 0 .8rem; }
.pictures { display: flex; flex-wrap: wrap; gap: 1rem; }
figure { margin: 0; flex: 0 1 auto; max-width: 100%; }
figure img { display: block; max-width: 100%; }
figcaption { color: var(--soft); padding-bottom: .2rem; }
pre { background: var(--panel); border: 1px solid var(--edge); padding: .7rem; overflow-x: auto;
  font: 13px/1.35 ui-monospace, monospace; white-space: pre-wrap; overflow-wrap: anywhere; }
details pre { white-space: pre; }
"""


@dataclass(frozen=True)
class Failure:
    """One failed test: its id, the facts of the display, the message, the command to run it again.

    message: the assertion's first paragraph. letters: the rest, pictures as text. pictures:
    (label, PNG file).
    """

    test: str
    facts: str
    message: str
    letters: str
    command: str
    pictures: tuple[tuple[str, Path], ...]


def failure_page(failures: Sequence[Failure]) -> str:
    """One HTML page with the pictures in it: it needs no other file."""
    count = f"{len(failures)} failed test{'s' if len(failures) != 1 else ''}"
    links = "".join(
        f'<li><a href="#t{i}">{_escape(f.test)}</a></li>' for i, f in enumerate(failures)
    )
    parts = "".join(_section(i, failure) for i, failure in enumerate(failures))
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">{MADE_BY}\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>foreglow: {count}</title><style>{_STYLE}</style></head>\n<body><h1>{count}</h1>\n"
        '<p class="soft">Each square is a cell, seen from the front. Columns and rows are numbered'
        " from 0. A frame marks the cell that the message names. In “different”, cells that are"
        " right are black, and faint differences are drawn brighter than they are.</p>\n"
        f"<nav><ol>{links}</ol></nav>\n{parts}</body></html>\n"
    )


def _section(number: int, failure: Failure) -> str:
    figures = "".join(_figure(label, path) for label, path in failure.pictures)
    letters = (
        f"<details><summary>as letters</summary><pre>{_escape(failure.letters)}</pre></details>\n"
        if failure.letters
        else ""
    )
    return (
        f'<section id="t{number}"><h2>{_escape(failure.test)}</h2>\n'
        f'<p class="soft">{_escape(failure.facts)}</p>\n'
        f"<pre>{_escape(failure.message)}</pre>\n"
        f'<div class="pictures">{figures}</div>\n'
        f'{letters}<p class="soft">run it again: <code>{_escape(failure.command)}</code></p>'
        "</section>\n"
    )


def _figure(label: str, path: Path) -> str:
    data = base64.b64encode(path.read_bytes()).decode()
    return (
        f"<figure><figcaption>{_escape(label)}</figcaption>"
        f'<img alt="{_escape(label)}" src="data:image/png;base64,{data}"></figure>\n'
    )


def _escape(text: str) -> str:
    """Text for HTML, without control characters."""
    return html.escape(clean(text))
