"""One search with its file: every answer is written before the next question is asked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from emulator.description.faults.reading import read_sentence
from harness.find.answer import Seen
from harness.find.kept import (
    Answered,
    Event,
    Found,
    Kept,
    fingerprint,
    from_run_lengths,
    load_kept,
    run_lengths,
    save_kept,
)
from harness.find.search import Search


@dataclass(eq=False)
class Session:
    """A search whose events are kept in a file. display: as planned, without faults."""

    search: Search
    path: Path
    kept: Kept

    @classmethod
    def open(cls, search: Search, path: Path, rehearsed: tuple[str, ...], again: bool) -> Session:
        """Go on with the session of a file, or begin one. again: forget the old one.

        Raises ForeglowError for a file that is not a session of this wall.
        """
        kept = None if again else load_kept(path, search.display, rehearsed)
        new = Kept(wall=fingerprint(search.display), rehearsed=rehearsed)
        session = cls(search, path, kept or new)
        session._replay()
        return session

    @property
    def answers(self) -> int:
        """How many answers have been given."""
        return sum(isinstance(one, Answered) for one in self.kept.events)

    @property
    def found(self) -> list[tuple[Fault, bool]]:
        """The faults found so far, and whether each has been fixed."""
        display = self.search.display
        return [
            (read_sentence(one.fault, display), one.then == "fixed")
            for one in self.kept.events
            if isinstance(one, Found) and one.then != "whole"
        ]

    def answer(self, number: int, seen: Seen) -> None:
        """Take the words (N,) for a picture."""
        asked = self.search.asked[number]
        self._add(Answered(pattern=asked.pattern.name, step=asked.step, seen=run_lengths(seen)))

    def conclude(self, fault: Fault, then: str) -> None:
        """A fault has been found; then: 'fixed', 'left', or 'whole' where it is not the one."""
        self._add(Found.model_validate({"fault": str(fault), "then": then}))

    def undo(self) -> bool:
        """Take back the last answer or result; False if there is none."""
        if not self.kept.events:
            return False
        self.kept = self.kept.model_copy(update={"events": self.kept.events[:-1]})
        save_kept(self.path, self.kept)
        self._replay()
        return True

    def _add(self, event: Event) -> None:
        self.kept = self.kept.model_copy(update={"events": (*self.kept.events, event)})
        save_kept(self.path, self.kept)
        self._act(event)

    def _replay(self) -> None:
        self.search.forget()
        for event in self.kept.events:
            self._act(event)

    def _act(self, event: Event) -> None:
        search = self.search
        if isinstance(event, Answered):
            for number, one in enumerate(search.asked):
                if (one.pattern.name, one.step) == (event.pattern, event.step):
                    search.tell(number, from_run_lengths(event.seen))
            return
        fault = read_sentence(event.fault, search.display)
        if event.then == "whole":
            search.out.add(search.suspects.index(fault))
        else:
            search.found(fault, fixed=event.then == "fixed")


def without_faults(display: Display) -> Display:
    """The display as planned."""
    return replace(display, faults=())
