"""The conversation of `foreglow find`, at the terminal or with a window to paint in."""

from __future__ import annotations

import contextlib
import queue
import sys
import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from emulator.description.display import Display
from emulator.errors import OutputClosedError
from emulator.ports.opening import open_output
from harness.find.answer import DARK, DIM, FINE, FLICKERS, UNSURE, WRONG, Seen
from harness.find.lists import Unreadable
from harness.find.pictures import MOVING, is_plain
from harness.find.rehearsal import Rehearsal, Stage
from harness.find.saying import said
from harness.find.session import Session
from harness.find.words import as_it_should, read_answer
from harness.report.find.drawing import drawn, picture_in_words
from harness.report.find.telling import (
    EXAMPLES,
    HELP,
    MOST_ALIKE,
    hidden_in,
    result,
    suspects_in_words,
)
from harness.report.terminal import say, terminal
from harness.result.words import many

if TYPE_CHECKING:
    from emulator.description.faults.fault import Fault
    from emulator.window.painting import PaintingWindow
    from harness.find.belief import Belief

_TICK_S = 0.1
# White shows most at a glance; these come while foreglow still calculates what others would tell.
_FIRST = ("channels 4", "checker 1", "channels 1")
_ENDS = {"quit", "exit", "stop", "q"}
_AFTER = {
    **dict.fromkeys(("fixed", "repaired", "done", "f", "yes", "y"), "fixed"),
    **dict.fromkeys(("left", "leave", "l", "later"), "left"),
    **dict.fromkeys(("no", "not", "n", "wrong"), "whole"),
}


class _Stop(Exception):
    """The person has had enough, or the input has ended."""


class Talk:
    """One session with a person. faulty: the wall to rehearse with; to: addresses of the wall."""

    def __init__(
        self,
        session: Session,
        faulty: Display,
        to: list[str],
        sheet: bool,
        rehearse: bool,
        paint: bool,
    ) -> None:
        self._session, self._search = session, session.search
        self._display, self._faulty = session.search.display, faulty
        self._to, self._sheet, self._rehearse, self._paints = to, sheet, rehearse, paint
        self._console = terminal()
        self._stage: Stage | Rehearsal | None = None
        self._window: PaintingWindow | None = None
        self._lines: queue.Queue[str | None] = queue.Queue()
        self._failed: BaseException | None = None
        self._table = threading.Thread(target=self._prepare, daemon=True)

    def hold(self) -> int:
        """Ask until the wall is right, or the person stops. Returns the exit status."""
        with self._open():
            self._begin()
            self._table.start()
            threading.Thread(target=self._read, daemon=True).start()
            try:
                self._ask_all()
            except (_Stop, OutputClosedError):
                say(f"\nThe session is kept in {self._session.path}; the same command goes on.")
        for fault, fixed in self._session.found:
            say(f"Found: {fault}" + (" (fixed)" if fixed else ""))
        return int(bool(self._session.found))

    @contextlib.contextmanager
    def _open(self) -> Iterator[None]:
        """Open the wall and the window; close both at the end."""
        with contextlib.ExitStack() as held:
            if self._to:
                shown = self._faulty if self._rehearse else self._display
                self._stage = held.enter_context(Stage(shown, open_output(self._to, shown)))
            elif not self._sheet:
                rehearsal = held.enter_context(Rehearsal(self._faulty))
                for fault, fixed in self._session.found:
                    if fixed:
                        rehearsal.repair(fault)
                self._stage = rehearsal
            if self._paints:
                from emulator.window.painting import PaintingWindow

                self._window = PaintingWindow(self._display)
                held.callback(self._window.close)
            yield

    def _begin(self) -> None:
        display, search = self._display, self._search
        lines = many(len(display.wiring.line_lengths), "line")
        say(
            f"{display.name}: {display.leds} LEDs on {lines}, {len(search.suspects)} possible"
            " faults."
        )
        if self._session.answers:
            after = many(self._session.answers, "answer")
            say(f"It goes on after {after} ({self._session.path}).")
        elif self._rehearse:
            self._say_unseen()
        else:
            say("Switch the LEDs' supply off and on again before you begin.")
        if self._paints:
            say("Paint in the window what differs; press Enter there when you are done.\n")
        else:
            say(f"Say what differs, such as '{EXAMPLES[0]}', or 'fine'; 'help' says more.\n")

    def _say_unseen(self) -> None:
        """A rehearsal draws LEDs, and no cover."""
        light = [str(one) for one in self._faulty.faults if one.stage == "light"]
        if light and not self._to:
            say(f"The drawing shows no covers: for {light[0]} give --to window: as well.")

    def _ask_all(self) -> None:
        names = [one.name for one in self._search.asked]
        # On a wall of one LED some of them are the same picture.
        shown = [names.index(name) for name in _FIRST if name in names]
        first = [] if self._session.answers else shown
        while True:
            if first and (not self._session.answers or self._table.is_alive()):
                self._ask(first.pop(0))
                continue
            belief = self._belief()
            if self._session.answers:
                say(suspects_in_words(self._search, belief) + "\n")
            asked = None if belief.sure else self._search.next_question(belief)
            if asked is not None:
                self._ask(asked[0])
            elif self._conclude(belief):
                return

    def _belief(self) -> Belief:
        if self._table.is_alive():
            say("   foreglow compares with all possible faults …")
        while self._table.is_alive():
            self._table.join(_TICK_S)
            self._pump()
        if self._failed is not None:
            raise self._failed
        return self._search.belief()

    def _ask(self, number: int) -> None:
        """Show a picture until its answer can be read; keep the answer."""
        words = self._show(number)
        seen = self._painted(number, words) if self._window is not None else self._typed(number)
        if seen is None:
            return
        say(f"   Understood: {said(seen, self._display, 6)}")
        self._session.answer(number, seen)

    def _typed(self, number: int) -> Seen | None:
        """The answer at the terminal; None if the last one was taken back."""
        while True:
            text = self._line("   What do you see? ")
            if self._command(text):
                if text.strip().lower() == "undo":
                    return None
                continue
            try:
                return read_answer(text, self._display, self._search.asked[number].picture)
            except Unreadable as error:
                end = "" if str(error).endswith("?") else "."
                say(f"   {error}{end} For example: '{EXAMPLES[0]}'; 'help' says more.")

    def _painted(self, number: int, words: str) -> Seen | None:
        """The answer in the window; None if the last one was taken back."""
        from emulator.window.painting import Brush

        assert self._window is not None
        shows = self._stage.looks if isinstance(self._stage, Rehearsal) else None
        picture = self._search.asked[number].picture
        title = f"{self._session.answers + 1}. It should show {words}. Paint what differs."
        end = self._window.ask(title, picture, shows, self._pump)
        if end == "undo":
            self._session.undo()
            return None
        if end == "unsure":
            return np.full(self._display.leds, UNSURE, dtype=np.uint8)
        table = {
            Brush.NONE: FINE, Brush.DARK: DARK, Brush.WRONG: WRONG, Brush.FLICKERS: FLICKERS,
            Brush.DIM: DIM,
        }  # fmt: skip
        word = np.array([table[brush] for brush in Brush], dtype=np.uint8)
        cells = word[self._window.painted][..., None]
        seen = self._display.wiring.per_led(cells)[:, 0]
        return as_it_should(seen, self._display, picture)

    def _command(self, text: str) -> bool:
        """Whether a line is a command, or empty, and no answer; does it."""
        word = text.strip().lower()
        if word in _ENDS:
            raise _Stop
        if word in ("help", "h"):
            say(HELP)
            return True
        if word == "undo":
            say("   Taken back." if self._session.undo() else "   There is nothing to take back.")
            return True
        return not word

    def _show(self, number: int) -> str:
        """Show a picture on the wall, say how it should look, and return that."""
        question = self._search.asked[number]
        name, step = question.pattern.name, question.step
        if self._stage is not None:
            self._stage.show(question)
        words = picture_in_words(name, step, question.picture)
        which = "all its pictures" if step == MOVING else f"picture {step + 1}"
        say(f"{self._session.answers + 1}. It should show {words} (pattern {name}, {which}).")
        if self._sheet:
            say(f"   Start the pattern '{name}' on your controller, and look at {which}.")
        gap, console = self._display.gap, self._console
        if not is_plain(question.picture) and self._window is None:
            console.print(drawn(question.picture, gap, console))
        if isinstance(self._stage, Rehearsal) and self._window is None:
            say("   The rehearsed wall shows:")
            console.print(drawn(self._stage.looks, gap, console, self._stage.flickers))
        return words

    def _conclude(self, belief: Belief) -> bool:
        """Say what was found and ask what happened; whether the wall is right."""
        search = self._search
        members = belief.members(belief.best).tolist()
        if search.nothing in members:
            left = [fault for fault, fixed in self._session.found if not fixed]
            rest = f", except for {'; '.join(map(str, left))}" if left else ""
            say(f"The wall looks right{rest}. {hidden_in(search, members)}".rstrip())
            return True
        say(result(search, belief) + "\n")
        return self._what_then([search.suspects[number] for number in members[:MOST_ALIKE]])

    def _what_then(self, alike: list[Fault]) -> bool:
        """Ask what became of the fault, one of some that look the same; False: ask on.

        'no' says that none of them is it; others that look the same, without a number, stay.
        """
        say("   'again' shows the last picture once more.")
        ask = "   Is it fixed, left as it is, or not it? (fixed/left/no; quit: go on later) "
        if len(alike) > 1:
            say("   If it is one of those that look the same, say so by its number: 'fixed 2'.")
            say("   'no' means that it is none of those with a number.")
        while True:
            word, _, number = self._line(ask).strip().lower().partition(" ")
            which = int(number) if number.isdecimal() else 1
            if word == "again" and self._search.answers:
                self._ask(self._search.answers[-1].number)
                return False
            if _AFTER.get(word) == "whole":
                for fault in alike:
                    self._session.conclude(fault, "whole")
                return False
            if word in _AFTER and 1 <= which <= len(alike):
                self._session.conclude(alike[which - 1], _AFTER[word])
                if isinstance(self._stage, Rehearsal) and _AFTER[word] == "fixed":
                    self._stage.repair(alike[which - 1])
                return False
            if not self._command(word):
                say("   Say fixed, left, no or again.")
            elif word == "undo":
                return False

    def _prepare(self) -> None:
        try:
            self._search.prepare()
        except BaseException as error:
            self._failed = error

    def _read(self) -> None:
        for line in sys.stdin:
            self._lines.put(line)
        self._lines.put(None)

    def _pump(self) -> None:
        if self._stage is not None:
            self._stage.pump()

    def _line(self, prompt: str) -> str:
        """A line that is typed, while the wall is kept alive. Raises _Stop at the end of input."""
        print(prompt, end="", flush=True)
        while True:
            try:
                line = self._lines.get(timeout=_TICK_S)
            except queue.Empty:
                self._pump()
                if self._window is not None:
                    self._window.idle()
                continue
            if line is None:
                raise _Stop
            return line
