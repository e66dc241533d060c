"""What `foreglow mutate` asks of the process of the tests, and what that process answers.

The order is a file of JSON, which the variable ORDER of `foreglow.mutated` names. The answer is a
file of lines, each a word and, after a blank, more:

    found     the code was replaced; `found function`: one that returns a map, `found function with
              arguments`: one that needs some
    called    it was given a picture, or gave a map
    map       the map as JSON
    unfit     why the code cannot be replaced
    early     a line of the module that uses the code while the module is imported
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal, Self

from emulator.description.canvas import Curve
from harness.mutate.change import Change


@dataclass(frozen=True)
class Order:
    """The code to replace, `module:name`, the mistake, and what of the wall it needs.

    kind: 'call' for a function that is given pictures, 'map' for a map or a function that returns
    one. answers: the file for the answer.
    """

    target: str
    kind: Literal["call", "map"]
    change: Change
    rows: int
    columns: int
    curve: Curve
    frame_rate: float
    answers: str

    def write(self, path: Path) -> None:
        """Write the order for the process of the tests."""
        path.write_text(json.dumps(asdict(self)), encoding="utf-8")

    @classmethod
    def read(cls, path: Path) -> Self:
        """The order in a file."""
        told = json.loads(path.read_text(encoding="utf-8"))
        change = told.pop("change")
        for name in ("source", "channels"):
            change[name] = tuple(change[name])
        return cls(change=Change(**change), **told)

    def answer(self, line: str) -> None:
        """Add a line to the answer; a short write, so that several processes can."""
        with open(self.answers, "a", encoding="utf-8") as file:
            file.write(f"{line}\n")
