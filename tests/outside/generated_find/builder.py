"""A builder with one fault in their wall uses `foreglow find`, and what they make of its words.

They answer from what they see, read back what was understood, take it back if it is something else,
and at the end measure the named place: 'fixed' if it is there, 'no' if not.
"""

from __future__ import annotations

import re
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from harness.patterns.pattern import PATTERNS
from tests.outside.generated_find import eyes, speech
from tests.outside.generated_find.cases import SEED, Case, case
from tests.outside.generated_find.session import Hangs, Session, Shown

MOST_NAMED = 3  # places that a builder measures before they give up
MOST_ASKED = 45
UNSURE = "unsure"
# The codes of the kept session, as found by typing answers; 8 is 2 of many LEDs.
CODES = {
    "fine": 0, "dark": 1, "wrong": 2, "flickers": 3, "unsure": 4, "dim": 5, "bright": 6, "spot": 7,
    "red": 9, "yellow": 10, "green": 11, "cyan": 12, "blue": 13, "magenta": 14, "white": 15,
}  # fmt: skip
NAMED = re.compile(r"^ +\d+%  ([a-z-]+): (.*?)(?:, or \d+ more that look the same)?$", re.M)
ALIKE = re.compile(r"^ +(\d+)\. ([a-z-]+): (.*)$", re.M)
ODD = (
    "why", "hello?", "row", "LED 99999 dark", "row 77 dark", "42", "it is raining", "",
    "LED -1 dark", "something odd", "bla bla foo", "LED 2 is not dark", "row one thousand is red",
    "\x1b[2J", "LED 1 green instead of dark", "what do you mean", "the thing over there", "; ; ;",
    "ünï cödé",
    "column 0.5 dark", "LED 3 to 1 to 2", "not", "LED dark 2 row", "a" * 3000,
)  # fmt: skip


@dataclass
class Told:
    """How a session went."""

    asked: int = 0  # pictures
    questions: int = 0  # up to the right name
    back: list[str] = field(default_factory=list)  # sentences that it did not understand
    misread: list[str] = field(default_factory=list)  # and those that it understood otherwise
    named: list[str] = field(default_factory=list)  # places that were measured, and were not it
    result: str = ""  # named, among, … later, nothing, unfinished
    wrong: list[str] = field(default_factory=list)  # what must not be
    visible: bool = False  # whether any pattern shows the fault to this person
    said: str = ""


def place_is(kind: str, place: str, of: Case) -> bool:
    """Whether these words mean the fault of this case."""
    f = of.fault
    if kind != f["kind"] or ("loose" in place) != ("share" in f):
        return False
    if "corner" in f:
        return place.endswith(f["corner"].replace("-", " "))
    numbers = [int(n) for n in re.findall(r"\d+", place)]
    line = [f.get("line", 0)] if "of line" in place else []
    if "after" in f:
        wanted = [[f["after"], f["after"] + 1, *line], [max(f["after"], 0), *line], [0, *line]]
        wanted = wanted[:1] if f["after"] >= 0 else wanted[1:]
        sort = f.get("conductor", "")
        return numbers in wanted and ({"plus": "+"}.get(sort, sort) in place)
    if "feed" in f:
        return numbers[0] == f["feed"] and f.get("conductor", "") in place
    if "first" in f:
        return numbers[:2] == [f["first"], f["last"]] and numbers[2:] == line
    if "channel" in f:
        return numbers == [f["led"], *line] and f["channel"] in place
    if kind == "led-joined":
        return numbers == [f["led"], *line, f["led"] - 1]
    if "led" in f:
        return numbers == [f["led"], *line] and (" lit" in place) == ("lit" in f)
    if "run" in f:
        return sorted(numbers[:2]) == sorted([f["run"], f["other"]] if "other" in f else [f["run"]])
    if "column" in f:
        return numbers == [f["column"], f["row"]]
    if "other" in f:
        return sorted(numbers) == [0, 1]
    return numbers == [f.get("line", 0)] or not numbers


class Builder:
    """One person, one wall, one session."""

    def __init__(self, n: int, most: tuple[int, int] = (14, 10)) -> None:
        self.case = case(n, most)
        self._rng = np.random.default_rng([SEED, n, 1])
        self._eyes = eyes.Eyes(self.case)
        self._mouth = speech.Speaker(self.case.display, self._rng)
        self._style = speech.STYLES[n % len(speech.STYLES)]
        self._kills = n % 5 == 3
        self._to_the_end = n % 4 == 1
        self._odd = n % 2 == 0
        self.told = Told()
        self._done = False  # repaired
        self._taken_back = False

    def run(self) -> Told:
        """The whole session."""
        with tempfile.TemporaryDirectory() as made:
            place = Path(made)
            (place / "wall.toml").write_text(self.case.text)
            try:
                self._run(place)
            except (Hangs, BrokenPipeError) as error:
                self.told.wrong.append(f"{type(error).__name__}: {error}")
        fresh = eyes.Eyes(self.case)
        self.told.visible = any(
            seen != eyes.FINE
            for name, p in PATTERNS.items()
            if name != "chase"
            for step in range(min(p.steps(self.case.display), 12))
            for seen in fresh.sees(name, [step])
        )
        if "Traceback" in self.told.said:
            self.told.wrong.append("Traceback: " + self.told.said.split("Traceback")[1][-300:])
        return self.told

    def _run(self, place: Path) -> None:
        session = Session(place, self.case.sentence)
        while session.now != "end":
            if session.now == "fixed":
                if not self._measures(session):
                    break
                continue
            if session.picture is None:
                self.told.wrong.append(f"asks without a picture: {session.said[-200:]!r}")
                break
            if self._kills and session.picture[0] == 3:
                self._kills = False
                session = self._again(session, place)
                continue
            self.told.asked += 1
            if self.told.asked > MOST_ASKED:
                break
            self._answers(session, session.picture)
        whole = session.now == "end"
        while session.now != "end":
            session.type("quit")
        status = session.end()
        self.told.said += session.all
        right = "looks right" in session.all
        if not self.told.result:
            self.told.result = "nothing" if right else "unfinished"
        if status not in (0, 1):
            self.told.wrong.append(f"exit status {status}: {session.all[-300:]}")
        if self._done and whole and not (right and status == 1):
            self.told.wrong.append(f"after the repair, status {status}: {session.all[-300:]}")

    def _again(self, session: Session, place: Path) -> Session:
        """Kill it, and start again: no answer may be lost."""
        before, kept = session.picture, session.events()
        session.kill()
        self.told.said += session.all
        after = Session(place, self.case.sentence)
        if kept != after.events():
            self.told.wrong.append(f"killed at {before}, goes on with {after.picture}")
        return after

    def _answers(self, session: Session, shown: Shown) -> None:
        _, name, step = shown
        steps = range(PATTERNS[name].steps(self.case.display)) if step is None else [step]
        seen = self._eyes.sees(name, list(steps))
        if self._odd and self._rng.random() < 0.4 and self._says_oddly(session):
            return  # taken back, and perhaps another picture
        styles = [self._style, speech.STYLES[int(self._rng.integers(6))], "plain"]
        for style in ["plain"] if self._taken_back else styles:
            text, means = self._mouth.says(seen, style)
            if self._rng.random() < 0.03:
                text, means = "not sure", [UNSURE] * len(seen)
            if style != "plain" and len(text) > 400:
                continue
            if self._typed(session, text, means):
                return
        if not self._typed(session, "not sure", [UNSURE] * len(seen)):
            self.told.wrong.append(f"'not sure' is not understood after {text!r}")

    def _typed(self, session: Session, text: str, means: list[str]) -> bool:
        """Whether it was understood; if otherwise than meant, it is taken back."""
        events = session.events()
        session.type(text)
        if len(session.events()) == len(events):
            self.told.back.append(f"{text!r}: {_reply(session)[:160]}")
            return False
        codes = [2 if c == 8 else c for c, k in _last_answer(session) for _ in range(k)]
        self._taken_back = codes != [CODES[m] for m in means]
        if self._taken_back:
            meant = ", ".join(f"{n} {m}" for n, m in enumerate(means) if m != eyes.FINE)
            self.told.misread.append(f"{text!r}: {_reply(session)}; meant {meant[:120]}")
            session.type("undo" if session.now == "seen" else "no")
        return True

    def _says_oddly(self, session: Session) -> bool:
        """Says what means nothing: asked back, or understood (True) and taken back."""
        text = ODD[int(self._rng.integers(len(ODD)))]
        events = session.events()
        session.type(text)
        if len(session.events()) == len(events):
            return False
        self.told.misread.append(f"odd {text[:40]!r}: {_reply(session)[:120]}")
        session.type("undo" if session.now == "seen" else "no")
        return True

    def _measures(self, session: Session) -> bool:
        """Answers whether the named place was it; False: enough."""
        first = NAMED.findall(session.said.split("Found (")[0])
        alike = ALIKE.findall(session.said)
        top = first[0] if first else ("", "")
        sure = re.search(r"Found \((.*?) sure\)", session.said)
        if self._done:
            self.told.wrong.append(f"names {top} ({sure and sure[1]}) on the repaired wall")
            return False
        if place_is(top[0], top[1], self.case):
            answer, result = "fixed", "named"
        else:
            number = next((n for n, kind, at in alike if place_is(kind, at, self.case)), None)
            answer, result = (f"fixed {number}", "among") if number else ("no", "")
        if result:
            self.told.result = f"{result} later" if self.told.named else result
            self._done = True
            self._eyes.repaired()
            self.told.questions = self.told.asked
        else:
            self.told.named.append(f"{top[0]}: {top[1]} ({sure and sure[1]}, {len(alike)} alike)")
            if len(self.told.named) == MOST_NAMED:
                self.told.result = "unfinished"
                return False
        session.type(answer)
        return not self._done or self._to_the_end


def _reply(session: Session) -> str:
    return next((x.strip() for x in session.said.splitlines() if x.strip()), "")


def _last_answer(session: Session) -> list[list[int]]:
    return [e for e in session.events() if e["kind"] == "answered"][-1]["seen"]
