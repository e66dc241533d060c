"""Text that does harm if it is printed unchanged, and how a test notices that.

Control characters are C0, DEL and C1 (ECMA-48); bidirectional controls and line separators are
those of Unicode (UAX #9, table 1).
"""

from __future__ import annotations

import csv
import io
import json
import random
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

MARK = "XMARKX"
HARM = (
    "\x1b[31;5h", "\x1b[2J", "\x1b]0;{m}\x07", "\x1b]8;;http://x\x1b\\", "\x1bP{m}\x1b\\", "\x1bc",
    "\x1b[6n",
    "\x9b31m", "\x9d0;{m}\x9c", "\x07", "\x08\x08\x08", "\r", "\x00", "\x7f", "\x0b", "\x0c",
    "\x85", "\x1a",
    "\u202e", "\u2066", "\u2069", "\u200f", "\u061c", "\u2028", "\u2029", "\x0e", "\x18", "\x90",
)  # fmt: skip
MARKUP = (
    "<script>{m}</script>", '"><img src=x onerror={m}>', "' onload='{m}", "]]><script>{m}</script>",
    "</title><script>{m}</script>", "</style><script>{m}</script>", "--><script>{m}</script>",
    "&{m};",
    "*/ int {m}; /*", "??/", "\\", '"', '",\n"', "*\\\n/ {m}", "//", "[red]{m}[/red]", "[/]",
    "%s%n", "{{x}}",
    "$(x)", "`x`", "=1+1", "[link=http://x]{m}[/link]",
)  # fmt: skip
FORBIDDEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069]"
)
# What our own drawing on a terminal may be: colours, a bar drawn again, a terminal's line break.
OURS = re.compile("\x1b\\[(?:[0-9]{1,3};?)*m|\x1b\\[[?]25[lh]|\r?\x1b\\[2K|\r?\x1b\\[1A|\r\n")


def harmful(rng: random.Random, printable: bool = False) -> str:
    """Some harm around the mark; `printable`: markup alone."""
    pieces = (
        [*rng.sample(MARKUP, 2)] if printable else [*rng.sample(HARM, 2), *rng.sample(MARKUP, 1)]
    )
    rng.shuffle(pieces)
    return "a" + MARK.join(pieces).replace("{m}", MARK) + "b"


def file_name(rng: random.Random) -> str:
    """One that a file system takes."""
    name = harmful(rng).replace("/", "").replace("\0", "")
    return name.encode()[:180].decode(errors="ignore")


def raw(rng: random.Random) -> bytes:
    """As bytes that are not even text."""
    return harmful(rng).encode() + rng.choice(
        (b"", b"\xff\xfe", b"\x9b31m", b"\xc2\x9b", b"\xed\xa0\x80")
    )


def harm_in(data: bytes, terminal: bool = False) -> list[str]:
    """A complaint where a control character other than line break and tab is in it."""
    text = data.decode(errors="replace")
    if terminal:
        text = OURS.sub("", text)
    found = FORBIDDEN.search(text)
    if not found:
        return []
    around = text[max(0, found.start() - 60) : found.end() + 30]
    return [f"{found[0]!r} reaches it: {around!r}"]


def harm_in_file(path: Path) -> list[str]:
    """Complaints about a file that was written, by what its ending says it is."""
    data = path.read_bytes()
    judge = {".json": _json, ".svg": _svg, ".html": _html, ".h": _c, ".c": _c, ".csv": _csv}.get(
        path.suffix
    )
    if path.suffix in (".png", ".npz", ".gif", ".apng", ".mp4"):
        return []
    told = harm_in(data)
    if judge:
        told += judge(data, path)
    return [f"{path.name}: {t}" for t in told]


def _json(data: bytes, _: Path | None = None) -> list[str]:
    try:
        json.loads(data)
    except ValueError as error:
        return [f"no JSON: {error}"]
    return []


def no_json(data: bytes) -> list[str]:
    return _json(data)


def _svg(data: bytes, _: Path) -> list[str]:
    try:
        root = ElementTree.fromstring(data)
    except ElementTree.ParseError as error:
        return [f"no XML: {error}"]
    told = []
    for element in root.iter():
        if element.tag.lower().endswith("script"):
            told.append("a script")
        told += [f"{n}={v!r}" for n, v in element.attrib.items() if _runs(n, v)]
    return told


def _runs(name: str, value: str | None) -> bool:
    local = name.rsplit("}", 1)[-1].lower()
    return local.startswith("on") or (value or "").strip().lower().startswith("javascript:")


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.told: list[str] = []
        self._script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        data = ("type", "application/json") in attrs  # which no browser runs (HTML, 4.12.1)
        self._script = tag == "script" and not data
        self.told += [f"<{tag} {n}={v!r}>" for n, v in attrs if _runs(n, v) and MARK in f"{v}"]

    def handle_data(self, data: str) -> None:
        if self._script and MARK in data:
            self.told.append(f"a script: {data[:80]!r}")

    def handle_endtag(self, tag: str) -> None:
        self._script = False


def _html(data: bytes, _: Path | None = None) -> list[str]:
    tags = _Tags()
    tags.feed(data.decode(errors="replace"))
    tags.close()
    return tags.told


def harm_in_text(text: str) -> list[str]:
    return harm_in(text.encode(errors="replace"))


def harm_in_html(text: str) -> list[str]:
    return harm_in(text.encode()) + _html(text.encode())


def _c(data: bytes, path: Path) -> list[str]:
    if not shutil.which("gcc"):
        return []
    done = subprocess.run(
        ["gcc", "-std=c99", "-Wall", "-Wextra", "-Wno-unused-variable", "-Werror", "-pedantic",
            "-fsyntax-only",
         "-Wno-unused-const-variable", "-x", "c", str(path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return [f"gcc: {done.stderr[:300]}"] if done.returncode else []


def _csv(data: bytes, _: Path) -> list[str]:
    rows = list(csv.reader(io.StringIO(data.decode(), newline="")))
    widths = {len(row) for row in rows if row}
    return [] if len(widths) == 1 else [f"rows of {sorted(widths)} cells"]
