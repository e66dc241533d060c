"""`foreglow find`: from what a person sees on the wall to the joint to solder again."""

from __future__ import annotations

import queue
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.options import RESULTS, DisplayName, Force
from harness.report.terminal import say, terminal

if TYPE_CHECKING:
    from emulator.description.display import Display
    from harness.find.rehearsal import Rehearsal, Stage
    from harness.find.search import Belief, Search
    from harness.find.session import Session

_TICK_S = 0.1


def find(
    display: DisplayName,
    to: Annotated[
        list[str] | None,
        typer.Option(help="The address of the wall: serial:///dev/ttyACM0, e131://…; repeatable."),
    ] = None,
    sheet: Annotated[
        bool,
        typer.Option("--sheet", help="The controller plays by itself: say which pattern to start."),
    ] = False,
    rehearse: Annotated[
        list[str] | None,
        typer.Option(
            help='Without hardware: emulate the wall with a fault, as "data-open line=0 after=143";'
            " repeatable. --to window: shows it in a window."
        ),
    ] = None,
    session: Annotated[
        Path | None,
        typer.Option(
            help="Keep the session in this file; the same command goes on with it.",
            show_default="foreglow-out/",
        ),
    ] = None,
    new: Annotated[bool, typer.Option("--new", help="Forget the session so far.")] = False,
    force: Force = False,
) -> None:
    """Find what is wrong with a wall that is soldered: it plays pictures, you say what you see.

    Each picture is the one that tells most about the faults that are still possible, for your
    time. Answer in a few words: 'row 7 dark from the fifth', 'all red', 'fine', 'not sure'. At the
    end it names the fault, the place, and what to measure. Exit status 1 if it found a fault.
    """
    from emulator.description.faults.reading import with_faults
    from emulator.description.load import load_display
    from harness.campaign.campaign import single_faults
    from harness.find.pictures import questions
    from harness.find.search import Search
    from harness.find.session import Session, without_faults

    if sum([bool(to), sheet, bool(rehearse)]) == 0:
        raise typer.BadParameter(
            'say where the wall is: --to serial:///dev/ttyACM0, --sheet, or --rehearse "data-open'
            ' line=0 after=143" without hardware'
        )
    if sheet and (to or rehearse):
        raise typer.BadParameter("--sheet does without --to and --rehearse")
    wall = load_display(display)
    planned = without_faults(wall)
    faulty = with_faults(wall, rehearse or [])
    rehearsed = tuple(str(one) for one in faulty.faults[len(wall.faults) :])
    search = Search(planned, single_faults(planned), questions(planned), known=wall.faults)
    path = session if session is not None else RESULTS / f"{wall.name}-find.json"
    _check(path, force or new)
    held = Session.open(search, path, rehearsed, new)
    raise typer.Exit(_Talk(held, faulty, to, sheet, bool(rehearse)).hold())


def _check(path: Path, force: bool) -> None:
    from emulator.files import check_target

    if path.exists() or path.parent != RESULTS:
        check_target(path, force=force)


class _Stop(Exception):
    """The person has had enough, or the input has ended."""


class _Talk:
    """The conversation at the terminal."""

    def __init__(
        self,
        session: Session,
        faulty: Display,
        to: list[str] | None,
        sheet: bool,
        rehearse: bool,
    ) -> None:
        self._session, self._search = session, session.search
        self._display = session.search.display
        self._console = terminal()
        self._sheet, self._rehearse = sheet, rehearse
        self._faulty, self._to = faulty, to
        self._lines: queue.Queue[str | None] = queue.Queue()
        self._table = threading.Thread(target=self._build, daemon=True)
        self._failed: BaseException | None = None

    def hold(self) -> int:
        """Ask until the wall is right, or the person stops. Returns the exit status."""
        from harness.find.rehearsal import Rehearsal, Stage

        self._begin()
        if self._sheet:
            return self._with(None)
        if self._to is not None:
            with Stage(self._faulty if self._rehearse else self._display, self._to) as stage:
                return self._with(stage)
        with Rehearsal(self._faulty) as rehearsal:
            return self._with(rehearsal)

    def _with(self, stage: Stage | Rehearsal | None) -> int:
        self._stage = stage
        self._table.start()
        threading.Thread(target=self._read, daemon=True).start()
        try:
            self._ask_all()
        except _Stop:
            say(f"\nThe session is kept in {self._session.path}. The same command goes on with it.")
        for fault, fixed in self._session.found:
            say(f"Found: {fault}" + (" (fixed)" if fixed else ""))
        return int(bool(self._session.found))

    def _begin(self) -> None:
        display, search = self._display, self._search
        lines = len(display.wiring.line_lengths)
        say(
            f"{display.name}: {display.leds} LEDs on {lines} line{'s' if lines > 1 else ''},"
            f" {len(search.suspects)} possible faults."
        )
        if self._session.answers:
            say(f"Goes on after {self._session.answers} answers ({self._session.path}).")
        elif not self._rehearse:
            say("Switch the LEDs' supply off and on again before you begin.")
        say("Say what differs, such as 'row 7 dark from the fifth', or 'fine'; 'help' says more.\n")

    def _ask_all(self) -> None:
        number: int | None = None if self._session.answers else self._first()
        while True:
            if number is None:
                belief = self._belief()
                if belief.sure or (asked := self._search.next_question(belief)) is None:
                    if self._conclude(belief):
                        return
                    continue
                number = asked[0]
            self._ask(number)
            number = None
            belief = self._belief()
            say(suspects_in_words(self._search, belief) + "\n")

    def _first(self) -> int:
        """White: what differs is seen at a glance, while foreglow prepares the others."""
        names = [one.name for one in self._search.asked]
        return names.index("channels 4")

    def _ask(self, number: int) -> None:
        """Show a picture until its answer can be read; keep the answer."""
        from harness.find.area import Unreadable
        from harness.find.saying import said
        from harness.find.words import read_answer
        from harness.report.find.telling import EXAMPLES

        question = self._search.asked[number]
        self._show(number)
        while True:
            text = self._line("   What do you see? ")
            if self._command(text):
                if text.strip().lower() == "undo":
                    return
                continue
            try:
                seen = read_answer(text, self._display, question.picture)
            except Unreadable as error:
                say(f"   {error}. For example: '{EXAMPLES[0]}'; 'help' says more.")
                continue
            say(f"   Understood: {said(seen, self._display, 6)}")
            self._session.answer(number, seen)
            return

    def _command(self, text: str) -> bool:
        """Whether a line is a command and no answer; does it."""
        from harness.report.find.telling import HELP

        word = text.strip().lower()
        if word in ("quit", "exit", "stop", "q"):
            raise _Stop
        if word in ("help", "h"):
            say(HELP)
            return True
        if word == "undo":
            say("   Taken back." if self._session.undo() else "   There is nothing to take back.")
            return True
        return not word

    def _show(self, number: int) -> None:
        from harness.find.rehearsal import Rehearsal
        from harness.report.find.drawing import drawn, is_plain, picture_in_words

        question = self._search.asked[number]
        name, step = question.pattern.name, question.step
        if self._stage is not None:
            self._stage.show(question.picture)
        words = picture_in_words(name, step, question.picture)
        say(
            f"{self._session.answers + 1}. It should show {words}"
            f" (pattern {name}, picture {step + 1})."
        )
        if self._sheet:
            say(
                f"   Start the pattern '{name}' on your controller; look at its picture {step + 1}."
            )
        gap = self._display.gap
        if not is_plain(question.picture):
            self._console.print(drawn(question.picture, gap, self._console))
        if isinstance(self._stage, Rehearsal):
            say("   The rehearsed wall shows:")
            self._console.print(drawn(self._stage.looks, gap, self._console))

    def _conclude(self, belief: Belief) -> bool:
        """Say what was found and ask what happened; whether the wall is right."""
        from harness.report.find.telling import result

        search = self._search
        members = belief.members(belief.best).tolist()
        if search.nothing in members:
            known = [fault for fault, fixed in self._session.found if not fixed]
            rest = f", except: {'; '.join(map(str, known))}" if known else ""
            say(f"The wall is right, as far as pictures can show{rest}.")
            return True
        say(result(search, belief) + "\n")
        fault = search.suspects[members[0]]
        while True:
            text = (
                self._line(
                    "   fixed, left as it is, or not it? (fixed/left/no; quit: go on later) "
                )
                .strip()
                .lower()
            )
            if text in ("fixed", "repaired", "done", "f", "yes", "y"):
                self._session.conclude(fault, "fixed")
            elif text in ("left", "leave", "l", "later"):
                self._session.conclude(fault, "left")
            elif text in ("no", "not it", "n", "wrong", "whole"):
                self._session.conclude(fault, "whole")
            elif self._command(text):
                if text == "undo":
                    return False
                continue
            else:
                say("   Say fixed, left or no.")
                continue
            return False

    def _belief(self) -> Belief:
        self._table.join()
        if self._failed is not None:
            raise self._failed
        return self._search.belief()

    def _build(self) -> None:
        try:
            self._search.prepare()
        except BaseException as error:
            self._failed = error

    def _read(self) -> None:
        for line in sys.stdin:
            self._lines.put(line)
        self._lines.put(None)

    def _line(self, prompt: str) -> str:
        """A line that is typed, while the wall is kept alive. Raises _Stop at the end of input."""
        print(prompt, end="", flush=True)
        while True:
            try:
                line = self._lines.get(timeout=_TICK_S)
            except queue.Empty:
                if self._stage is not None:
                    self._stage.pump()
                continue
            if line is None:
                raise _Stop
            return line


def suspects_in_words(search: Search, belief: Belief) -> str:
    """The most likely places, in a line each."""
    from harness.report.find import telling

    return telling.suspects_in_words(search, belief)
