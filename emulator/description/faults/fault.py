"""A fault of a built wall: a kind with a place, as a sentence and as a table of a display file.

`data-open line=0 after=143` on the command line is the same fault as

    [[fault]]
    kind = "data-open"
    line = 0
    after = 143

in a display file. A kind is one class. Its fields are the parameters, with type, range and default.
Its words say how it looks, what looks like it, and what to measure. `act` changes the facts of the
wall (`built.py`) that a stage is given; no stage knows the kinds.

To add a kind: 1 copy a class in the module of its stage; 2 give it its words, its fields with
ranges, `judge`, `act` and `everywhere`; 3 enter it in KINDS of the module; 4 add its table by hand,
or a check from outside, to `tests/test_bench_faults.py`.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal, NamedTuple, Self

from pydantic import ConfigDict, Field

from emulator.description.section import Section

if TYPE_CHECKING:
    from emulator.description.display import Display
    from emulator.description.faults.built import Built

Stage = Literal["wiring", "strip", "signal", "power", "light"]
STAGES: tuple[Stage, ...] = ("wiring", "strip", "signal", "power", "light")

PRACTICE = "common practice, no source"

Number = Annotated[int, Field(ge=0, lt=1 << 20)]


class Wrong(NamedTuple):
    """A place that this wall does not have: the key, what is wrong, how to fix it."""

    key: str
    message: str
    fix: str


class Fault(Section):
    """Base of all kinds. Faults are frozen, equal by value, and print as their sentence.

    name: in sentences and files. stage: the part of a frame's path where it acts. looks: what you
    see. alike: other faults that look like it. measure: what to measure first. source: of the
    physics.
    """

    model_config = ConfigDict(allow_inf_nan=False)

    name: ClassVar[str]
    stage: ClassVar[Stage]
    looks: ClassVar[str]
    alike: ClassVar[str]
    measure: ClassVar[str]
    source: ClassVar[str]

    def __str__(self) -> str:
        words = [f"{key}={_written(value)}" for key, value in self.given.items()]
        return " ".join([self.name, *words])

    @classmethod
    def what(cls) -> str:
        """What is wrong, in a sentence: the first of the docstring."""
        return (cls.__doc__ or cls.name).split("\n\n")[0].replace("\n    ", " ").strip()

    def judge(self, display: Display) -> Iterator[Wrong]:
        """Each part of the place that this display does not have."""
        yield from ()

    def act(self, built: Built) -> None:
        """Change the facts of the wall as built; the place has been checked."""
        raise NotImplementedError

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """This kind at each place of a display: a fault for each place and variant, or none."""
        raise NotImplementedError

    @property
    def place(self) -> dict[str, object]:
        """The parameters by name."""
        return {key: getattr(self, key) for key in type(self).model_fields}

    @property
    def comes_and_goes(self) -> bool:
        """Whether it is there only for a share of the time."""
        return False

    def lasting(self) -> Self:
        """The same fault, there all the time."""
        return self

    @property
    def given(self) -> dict[str, object]:
        """The parameters by name, without those that have their default."""
        default = {key: field.default for key, field in type(self).model_fields.items()}
        return {key: value for key, value in self.place.items() if value != default[key]}


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(value).removesuffix(".0")  # what reads as the same number again
    return shlex.quote(str(value))


class Sometimes(Fault):
    """Base of the kinds that may come and go: spells of random length, the same for each seed."""

    share: float = Field(
        1.0, gt=0, le=1, description="share of the time that the fault is there; 1: always"
    )
    spell_s: float = Field(
        0.2, ge=0.001, le=3600, description="how long it stays each time, on average"
    )
    seed: Number = Field(0, description="another number gives other moments")

    @property
    def comes_and_goes(self) -> bool:
        """As Fault.comes_and_goes."""
        return self.share < 1

    def lasting(self) -> Self:
        """As Fault.lasting."""
        return self.model_copy(update={"share": 1.0})


class OfLine(Fault):
    """Base of the kinds whose place is a line."""

    line: Number = Field(0, description="the line, from 0")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from no_line("line", self.line, display)

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        for line in range(len(display.wiring.line_lengths)):
            yield cls(line=line)


class OfLed(OfLine):
    """Base of the kinds whose place is an LED, with its planned number on its line."""

    led: Number = Field(description="the LED on that line, from 0")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from no_led("led", self.line, self.led, display)

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        for line, leds in enumerate(display.wiring.line_lengths):
            for led in range(leds):
                yield cls(line=line, led=led)


class OfLeds(OfLine):
    """Base of the kinds whose place is a piece of a line, LEDs `first` to `last`."""

    first: Number = Field(description="its first LED on that line, from 0")
    last: Number = Field(description="its last LED")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        found = [*no_led("last", self.line, self.last, display)]
        yield from found
        if not found and self.first > self.last:
            yield Wrong("first", f"first = {self.first} comes after last = {self.last}",
                        "exchange the two.")  # fmt: skip

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each run."""
        for run in display.wiring.runs:
            yield cls(line=run.line, first=run.first, last=run.last)


class OfRun(Fault):
    """Base of the kinds whose place is a run."""

    run: Number = Field(description="the run, from 0, as `foreglow map` numbers them")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from no_run("run", self.run, display)

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        for run in range(len(display.wiring.runs)):
            yield cls(run=run)


class OfJoint(OfLine):
    """Base of the kinds whose place is the joint after an LED; -1 is the one before the first."""

    after: int = Field(
        ge=-1, lt=1 << 20, description="the LED before the joint; -1: the joint before LED 0"
    )

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        lengths = display.wiring.line_lengths
        yield from no_line("line", self.line, display)
        if self.line < len(lengths) and self.after > lengths[self.line] - 2:
            yield Wrong("after", f"line {self.line} has no joint behind LED {self.after}",
                        f"use -1 to {lengths[self.line] - 2}.")  # fmt: skip

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        for line, leds in enumerate(display.wiring.line_lengths):
            for after in range(-1, leds - 1):
                yield cls(line=line, after=after)


def no_line(key: str, line: int, display: Display) -> Iterator[Wrong]:
    """The problem of a line that does not exist."""
    lines = len(display.wiring.line_lengths)
    if line >= lines:
        yield Wrong(key, f"there is no line {line}", f"use 0 to {lines - 1}.")


def no_led(key: str, line: int, led: int, display: Display) -> Iterator[Wrong]:
    """The problem of an LED, or a line, that does not exist."""
    yield from no_line("line", line, display)
    lengths = display.wiring.line_lengths
    if line < len(lengths) and led >= lengths[line]:
        yield Wrong(key, f"line {line} has no LED {led}", f"use 0 to {lengths[line] - 1}.")


def no_run(key: str, run: int, display: Display) -> Iterator[Wrong]:
    """A run that is not there."""
    runs = len(display.wiring.runs)
    if run >= runs:
        yield Wrong(key, f"there is no run {run}", f"use 0 to {runs - 1}.")
