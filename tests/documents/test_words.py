"""Everything that people read is in plain English: no word of the list is used."""

from __future__ import annotations

import pytest

from tests.documents.pages import ROOT
from tests.documents.words import found

KINDS = {".py", ".pyi", ".md", ".toml", ".c", ".h", ".ini"}
FOLDERS = ("emulator", "harness", "scenes", "tests")


def texts():
    for folder in FOLDERS:
        yield from (p for p in (ROOT / folder).rglob("*") if p.suffix in KINDS)
    yield from (p for p in ROOT.iterdir() if p.suffix in KINDS and p.name != "CHANGELOG.md")


@pytest.mark.parametrize("folder", [*FOLDERS, "."])
def test_no_banned_word(folder):
    said = []
    for path in texts():
        of = path.relative_to(ROOT).parts[0] if path.parent != ROOT else "."
        if of == folder and path.name not in {"words.py", "test_words.py"}:
            said += [
                f"{path.relative_to(ROOT)}:{n}: {word} → {say}"
                for n, word, say in found(path.read_text())
            ]
    assert not said, "\n".join(said)


def test_the_list_finds_what_it_is_for():
    assert found("It reckons anew.") != []
    assert found("there is no screen, and the rate is not valid") == []
    assert found("the voltage is no higher than before") == []
    assert found("x is no rate")[0][2] == "is not a …"
