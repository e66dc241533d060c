"""The page as HTML: no text breaks out of its place, and nothing but its own script can run."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from harness.report.page.film import Film
from harness.report.page.page import Chart, Failed, Found, Page, Section, Series, Table
from harness.report.page.render import page_html
from harness.result.finding import Finding

EVIL = (
    "</script><script>window.broken = 1</script>",
    "</style><img src=x onerror='window.broken = 1'>",
    '" onmouseover="window.broken = 1" x="',
    "' autofocus onfocus='window.broken = 1",
    "<!--<script>",
    "]]>{{ 7 * 191 }}{% raw %}${7 * 191}",
    "a\u2028window.broken = 1\u2029b",
    "\u202etxet neddih\u202c",
    "javascript:window.broken = 1",
    "&lt;b&gt; &#60;i> \x00\x1b[31m",
    "n" * 3000,
)
WALL = {
    "columns": 2, "rows": 1, "pitch": 1.0, "line": [0, 0], "led": [0, 1], "cell": [0, 1],
}  # fmt: skip


def film(name="chase", meant=((0, 0, 0), (255, 0, 0)), shown=((0, 0, 0), (255, 0, 0))):
    sent, seen = (np.array(p, np.uint8).reshape(1, 1, 2, 3) for p in (meant, shown))
    return Film(name, name, sent, seen, np.zeros((1, 2), bool), [0], 1, 500)


def page(text="x"):
    """A page with a text at every place that takes one."""
    finding = Finding(text, text, text, text, text)
    chart = Chart(
        text, text, text, [Series(text, np.arange(2.0), np.arange(2.0))], [(1, text)], [(1, text)],
        [(0, 1, text)],
    )  # fmt: skip
    failed = Failed(text, text, text, text, text, [film(text).packed()], [(text, b"\x89PNG")])
    return Page(
        text, text, "fail", text, text, [{**WALL, "name": text, "lines": [text]}],
        [Found(finding, (0,))],
        [Section(text, [Table(text, [text], [[text]], (), text)], [chart], text)],
        [film(text)], [(failed, 0)], text, np.array([5.0, 4.9]), [(text, text)], text,
    )  # fmt: skip


class Read(HTMLParser):
    """Elements with their attributes, and the content of scripts."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.scripts, self.styles, self._in = [], [], [], ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        self._in = tag
        if tag in ("script", "style"):
            getattr(self, f"{tag}s").append("")

    def handle_endtag(self, tag):
        self._in = ""

    def handle_data(self, data):
        if self._in in ("script", "style"):
            getattr(self, f"{self._in}s")[-1] += data


def shape(text):
    """Elements and the names of their attributes."""
    return [(tag, sorted(attributes)) for tag, attributes in Read(text).elements]


@pytest.mark.parametrize("text", EVIL, ids=range(len(EVIL)))
def test_no_text_breaks_out_of_its_place(text):
    made = page_html(page(text))
    assert shape(made) == shape(page_html(page("plain")))
    assert not re.search("[\u2028\u2029\u202e\x00\x1b]", made)
    data = json.loads(Read(made).scripts[0])
    if text.isprintable():
        assert data["charts"][0]["title"] == text  # whole, and what it was
        assert data["films"][0]["name"] == text
    assert "1337" not in made  # no template within a text is filled in


def test_the_policy_allows_this_style_this_script_and_nothing_else():
    """Content Security Policy Level 3 (W3C): hashes of what stands between the tags."""
    read = Read(page_html(page("x")))
    (policy,) = [a["content"] for t, a in read.elements if a.get("http-equiv")]
    directives = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    data, script = read.scripts
    for name, text in (("script-src", script), ("style-src", read.styles[0])):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert directives[name] == f"'sha256-{digest}'"
    assert directives["default-src"] == "'none'"
    assert directives["img-src"] == "data:"
    assert json.loads(data)
    assert not [t for t, a in read.elements if any(n.startswith("on") for n in a) or "style" in a]
    links = [a.get("href") or a.get("src") for _, a in read.elements if {"href", "src"} & set(a)]
    assert all(link.startswith(("#", "data:image/png")) for link in links)


def unpacked(packed):
    """As film.py documents it, without its code: (2, T, cells) colours, meant and shown."""
    import zlib

    count = len(packed["steps"])
    planes = np.frombuffer(zlib.decompress(base64.b64decode(packed["data"])), np.uint8)
    planes = planes.reshape(2 * count, -1).copy()
    for n in range(1, 2 * count):
        planes[n] ^= planes[n - 1 if n < count else n - count]
    if packed["palette"] is not None:
        codes = np.array([int(c, 16) for c in packed["palette"]])[planes]
    else:
        red, green, blue = planes.reshape(2 * count, 3, -1).astype(int).transpose(1, 0, 2)
        codes = red << 16 | green << 8 | blue
    return codes.reshape(2, count, -1)


@pytest.mark.parametrize("colours", [3, 256, 257])
def test_a_film_is_what_was_packed(colours):
    random = np.random.default_rng(colours)
    palette = np.arange(colours) * 60_000 + random.integers(0, 60_000, colours)
    codes = palette[random.integers(0, colours, (2, 7, 30 * 40))]
    codes[0].flat[:colours] = palette  # every colour is there
    pictures = np.stack([codes >> 16, codes >> 8 & 255, codes & 255], axis=-1).astype(np.uint8)
    meant, shown = pictures.reshape(2, 7, 30, 40, 3)
    made = Film("f", "", meant, shown, np.zeros((30, 40), bool), range(7), 7, 100)
    assert np.array_equal(unpacked(made.packed()), codes)


def test_the_scripts_modules_have_their_own_tests():
    if shutil.which("node") is None:
        pytest.skip("node is not installed: Debian's package nodejs")
    tests = sorted(str(path) for path in (Path(__file__).parent / "browser").glob("*.test.mjs"))
    ran = subprocess.run(["node", "--test", *tests], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
