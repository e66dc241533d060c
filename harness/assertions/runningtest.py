"""The test that pytest runs at this moment, and where its pictures are stored."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar

from emulator.errors import ForeglowError
from emulator.files import write_whole

__tracebackhide__ = True  # a failure points to the line of the test


@dataclass
class RunningTest:
    """The test that pytest runs now; the plugin sets `current`.

    folder: where its files are stored, `pictures/<test module>` beside it. root: paths in
    messages are relative to it. suffix: added to every name if the test runs for several displays.
    update: write what is shown instead of comparing. command: what a user types for that. written:
    the files written so far.
    """

    folder: Path
    root: Path
    command: str
    suffix: str = ""
    update: bool = False
    written: list[Path] = field(default_factory=list)

    current: ClassVar[RunningTest | None] = None

    @classmethod
    def now(cls) -> RunningTest:
        """The test that runs. Raises ForeglowError outside a test."""
        if cls.current is None:
            raise ForeglowError(
                "a stored file can be compared only inside a test",
                fix="run it with pytest and foreglow's plugin.",
            )
        return cls.current

    def path(self, name: str, ending: str) -> Path:
        """The file of a name. Raises ForeglowError for a name that cannot name a file."""
        if not re.fullmatch(r"\w[\w.-]*", name):
            raise ForeglowError(
                f"'{name}' is not a valid name for a stored file",
                fix="use letters, digits, '_', '-' and '.', and begin with a letter.",
            )
        return self.folder / f"{name}{self.suffix}{ending}"

    def told(self, path: Path) -> str:
        """A path as a user would type it."""
        return str(path.relative_to(self.root)) if path.is_relative_to(self.root) else str(path)

    def write(self, path: Path, content: bytes) -> None:
        """Write a stored file and remember that. Raises WriteError."""
        write_whole(path, content)
        self.written.append(path)
