"""A page of a report, read with html.parser and json alone, and what no page may hold."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import unicodedata
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from tests.outside.generated_pages.walls import MARK

REFERENCES = {
    "src",
    "href",
    "action",
    "formaction",
    "data",
    "poster",
    "srcset",
    "background",
    "cite",
    "xlink:href",
    "ping",
    "manifest",
    "codebase",
}  # attributes that hold addresses: the HTML standard's index of attributes
VOID = {
    "meta",
    "br",
    "img",
    "input",
    "hr",
    "link",
    "col",
    "wbr",
}  # the HTML standard, 'void elements'
ASKING = (
    r"\bfetch\s*\(|XMLHttpRequest|new WebSocket|EventSource|sendBeacon|\bimport\s*\(|importScripts"
)
LARGEST = 1_500_000  # bytes, for a wall of 720 cells


@dataclass
class Element:
    """An element with the text directly or deeper in it."""

    tag: str
    attributes: dict[str, str | None]
    text: str = ""
    inside: list[Element] = field(default_factory=list)

    def all(self, tag: str) -> list[Element]:
        """Elements of this tag in it, in their order."""
        found = [self] if self.tag == tag else []
        return found + [one for each in self.inside for one in each.all(tag)]

    def every(self) -> list[Element]:
        """All elements in it, and itself."""
        return [self] + [one for each in self.inside for one in each.every()]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open = [Element("", {})]
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        made = Element(tag, dict(attrs))
        if len(made.attributes) != len(attrs):
            self.wrong.append(f"<{tag}> has an attribute twice")
        self.open[-1].inside.append(made)
        if tag not in VOID:
            self.open.append(made)

    def handle_endtag(self, tag: str) -> None:
        if self.open[-1].tag != tag:
            self.wrong.append(f"</{tag}> closes <{self.open[-1].tag}>")
            return
        self.open.pop()

    def handle_data(self, data: str) -> None:
        for each in self.open:
            each.text += data

    def handle_comment(self, data: str) -> None:
        if MARK in data:
            self.wrong.append(f"a user's text in a comment: {data[:80]!r}")


@dataclass
class Page:
    """What a page holds, and what is wrong with it as a page."""

    root: Element
    data: Any
    wrong: list[str]

    def verdict(self) -> tuple[str | None, str]:
        """The page's verdict, and its sentence."""
        for one in self.root.all("p"):
            if one.attributes.get("class") == "verdict":
                return one.attributes.get("data-verdict"), one.text
        return None, ""

    def findings(self) -> list[dict[str, str]]:
        """The findings in words: severity, what, and the terms under it."""
        found = []
        for one in self.root.all("article"):
            if one.attributes.get("class") != "finding":
                continue
            terms = [e.text for e in one.all("dt")]
            told = dict(zip(terms, [e.text for e in one.all("dd")], strict=True))
            (head,) = one.all("h3")
            told["what"] = head.all("bdi")[0].text
            told["severity"] = str(one.attributes.get("data-severity"))
            found.append(told)
        return found


def plain(text: object) -> str:
    """Letters, digits and marks of a text: without what can be shown as an escape or not at all."""
    told = re.sub(r"\\(?:x[0-9a-f]{2}|u[0-9a-f]{4}|U[0-9a-f]{8})", "", str(text))
    return "".join(c for c in told if unicodedata.category(c)[0] not in "CZ" and c != "\ufffd")


def _hashes(elements: list[Element]) -> set[str]:
    """CSP 3, 'hash-source': the SHA-256 of the element's text in UTF-8, in base64."""
    return {
        f"'sha256-{base64.b64encode(hashlib.sha256(e.text.encode()).digest()).decode()}'"
        for e in elements
    }


def _policy(root: Element, scripts: list[Element]) -> list[str]:
    said = [
        e.attributes.get("content") or ""
        for e in root.all("meta")
        if (e.attributes.get("http-equiv") or "").lower() == "content-security-policy"
    ]
    if len(said) != 1:
        return [f"{len(said)} policies"]
    policy = {words[0]: set(words[1:]) for part in said[0].split(";") if (words := part.split())}
    wrong = []
    for name, true in {
        "default-src": {"'none'"},
        "script-src": _hashes(scripts),
        "style-src": _hashes(root.all("style")),
        "img-src": {"data:"},
        "base-uri": {"'none'"},
        "form-action": {"'none'"},
    }.items():
        if policy.get(name) != true:
            wrong.append(f"policy {name} is {policy.get(name)}, not {true}")
    more = set(policy) - {
        "default-src",
        "script-src",
        "style-src",
        "img-src",
        "base-uri",
        "form-action",
    }
    return wrong + [f"policy also has {more}" for _ in [0] if more]


def _elements(root: Element, scripts: list[Element]) -> list[str]:
    wrong = []
    for one in root.every():
        if one.tag in {
            "iframe",
            "object",
            "embed",
            "link",
            "base",
            "form",
            "frame",
            "audio",
            "video",
        }:
            wrong.append(f"a <{one.tag}>")
        if MARK in one.tag:
            wrong.append(f"a user's text is a tag: {one.tag!r}")
        for name, value in one.attributes.items():
            if name.startswith("on") or name == "style":
                wrong.append(f"<{one.tag} {name}={value!r}>")
            if MARK in name:
                wrong.append(f"a user's text is an attribute: {name!r}")
            local = (value or "").startswith(("#", "data:"))
            if name in REFERENCES and not local:
                wrong.append(
                    f"<{one.tag} {name}={(value or '')[:80]!r}> refers to something outside"
                )
    for one in root.all("style"):
        wrong += [
            f"style refers to {ref!r}"
            for ref in re.findall(r"url\(\s*['\"]?([^)]*)", one.text)
            if not ref.startswith("data:")
        ]
        if "@import" in one.text or MARK in one.text:
            wrong.append("the style imports, or has a user's text")
    for one in scripts:
        if re.search(ASKING, one.text) or MARK in one.text:
            wrong.append("the script asks a network, or has a user's text")
    return wrong


def read(content: bytes, cells: int) -> Page:
    """Read a page, and judge it as one."""
    wrong = []
    text = content.decode("utf-8")
    if cells <= 720 and len(content) > LARGEST:
        wrong.append(f"{len(content)} bytes for {cells} cells")
    odd = sorted({c for c in text if unicodedata.category(c) in ("Cc", "Cs") and c not in "\n\t"})
    if odd:  # a carriage return would also change what browsers hash
        wrong.append(f"the file holds the control characters {odd}")
    turning = sorted(
        {c for c in text if c in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"}
    )
    if turning:
        wrong.append(f"the file holds the controls of direction {turning}")
    reader = _Reader()
    reader.feed(text)
    reader.close()
    root, wrong = reader.open[0], wrong + reader.wrong
    wrong += [f"<{e.tag}> stays open" for e in reader.open[1:]]
    blocks = [e for e in root.all("script") if e.attributes.get("type") == "application/json"]
    scripts = [e for e in root.all("script") if e not in blocks]
    if len(blocks) > 1 or len(scripts) > 1:
        wrong.append(f"{len(blocks)} blocks of data and {len(scripts)} scripts")
    if re.search(r"[<>&]", "".join(e.text for e in blocks)):
        wrong.append("the data hold <, > or &")
    data = json.loads(blocks[0].text) if blocks else None
    return Page(root, data, wrong + _policy(root, scripts) + _elements(root, scripts))
