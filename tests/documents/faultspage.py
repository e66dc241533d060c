"""The page of the faults of a built wall, made from their classes."""

from __future__ import annotations

from emulator.description.faults.fault import STAGES
from emulator.description.faults.kinds import KINDS
from harness.report.faults import sentence

_HEAD = """\
# Faults of a built wall

What may be wrong with a wall once it is soldered, in the order of the path of a frame. A fault is a
sentence with a place. Give one or several to `view`, `render`, `record`, `run`, `listen`, `check`
or `soak`:

    foreglow view mywall --fault "data-open line=0 after=143"
    foreglow view mywall --fault "channel-weak led=7 channel=red" --fault "supply-low volts=4.5"

or write it into the display file, for a wall as it was built:

```toml
[[fault]]
kind = "data-open"
line = 0
after = 143
share = 0.1        # of the time: a loose joint
```

or into a test: `Bench(display, faults=["data-open line=0 after=143"])`.

Each fault acts at its own stage of the emulated wall. What your code sends stays as planned, and so
does what `foreglow power` and `foreglow map` say. A recording holds drives, and the faults as
sentences, so that its pictures show those of the light, too. `foreglow faults data-open --picture`
explains the parameters of a kind and draws it.

Parameters in brackets may be left out. LEDs, runs and feeds are numbered from 0, as planned. This
page is made from the classes by `python -m tests.documents`. Never solder with the power on.
"""


def faults_page() -> str:
    """The page in Markdown: one table a stage."""
    parts = [_HEAD]
    for stage in STAGES:
        rows = [
            f"| `{kind.name}` {_cell(sentence(kind))} | {_cell(kind.what())} |"
            f" {_cell(kind.looks)} | {_cell(kind.alike)} | {_cell(kind.measure)} |"
            f" {_cell(kind.source)} |"
            for kind in KINDS.values()
            if kind.stage == stage
        ]
        head = "| kind | what is wrong | looks | alike | measure first | source |"
        parts.append("\n".join([f"## {stage.capitalize()}", "", head, "|---" * 6 + "|", *rows, ""]))
    return "\n".join(parts)


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")
