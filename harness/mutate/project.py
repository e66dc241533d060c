"""The display that the tests of the current folder are for, as pytest's files name it."""

from __future__ import annotations

import configparser
import contextlib
import tomllib
from pathlib import Path

from emulator.processes import words_of

_OPTION = "--foreglow-display"
_KEY = "foreglow_display"
# In pytest's order; the section that each has for it (pytest's documentation, 'Configuration').
_FILES = {
    "pytest.ini": "pytest",
    ".pytest.ini": "pytest",
    "pyproject.toml": "",
    "tox.ini": "pytest",
    "setup.cfg": "tool:pytest",
}


def named_display(command: str, folder: Path) -> str | None:
    """The display that a command names by its option, or a file of the folder; None without."""
    with contextlib.suppress(ValueError):  # a quote that is not closed: whoever runs it says so
        words = words_of(command)
        for word, following in zip(words, [*words[1:], ""], strict=True):
            if word == _OPTION:
                return following
            if word.startswith(f"{_OPTION}="):
                return word.partition("=")[2]
    for name, section in _FILES.items():
        found = _in_file(folder / name, section)
        if found:
            return found
    return None


def _in_file(path: Path, section: str) -> str:
    """The value of the key in a file; '' if there is none, or the file cannot be read."""
    with contextlib.suppress(OSError, ValueError, configparser.Error):
        if not section:
            told = tomllib.loads(path.read_text(encoding="utf-8"))
            return str(told.get("tool", {}).get("pytest", {}).get("ini_options", {}).get(_KEY, ""))
        parser = configparser.ConfigParser(interpolation=None)
        parser.read_string(path.read_text(encoding="utf-8"))
        return parser.get(section, _KEY, fallback="").strip()
    return ""
