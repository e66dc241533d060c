"""Injects faults into a show, one after the other, and reports the outcome of each."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from emulator.clock import SECOND_NS
from emulator.errors import ForeglowError
from harness.show.loop import Pace, Slot
from harness.show.scene.guard import Guard
from harness.soak.rig import Rig, ShowFault

MOST_AWAY_S = 60.0  # from the end of a fault until the scene must be back: twice the longest rest
_MOST_TOLD = 4  # warnings of the show that are kept during a fault
_STEADY_S = 1.0  # after so long on the wall, the scene is back
APART_S = 100.0  # between faults, so that each is over before the next


@dataclass(frozen=True)
class Planned:
    """A fault and when it begins, in seconds of the show."""

    at_s: float
    fault: ShowFault


@dataclass(frozen=True)
class Outcome:
    """The outcome of a fault.

    shown: seconds for each kind of picture on the wall, until the scene was back. unsent: frames
    that did not go out. late: pictures that came too late. restarts: of the scene. back_s: from the
    start of the fault until the scene was back for good; None if it was not. told: remarks. tried:
    whether it affected the show; if not, it proves nothing. findings: what did not recover, as
    sentences.
    """

    name: str
    what: str
    at_s: float
    shown: dict[str, float]
    unsent: int
    late: int
    restarts: int
    back_s: float | None
    told: str
    tried: bool
    findings: tuple[str, ...]


class Injection:
    """Injects each fault into a rig at its time. Pass `take` to a Show as `watch`.

    outcomes: of faults that are over. Raises ValueError for faults less than 100 s apart.
    """

    def __init__(self, planned: Sequence[Planned], rig: Rig, scene: Guard, pace: Pace) -> None:
        self._planned = sorted(planned, key=lambda one: one.at_s)
        gaps = [b.at_s - a.at_s for a, b in itertools.pairwise(self._planned)]
        if any(gap < APART_S for gap in gaps):
            raise ValueError(f"faults must be at least {APART_S:g} s apart")
        self._rig, self._scene = rig, scene
        self._period_s = float(pace.period) / SECOND_NS
        self._under_way: _UnderWay | None = None
        self.outcomes: list[Outcome] = []

    def take(self, slot: Slot) -> None:
        """A slot of the show is over."""
        now_s = slot.due_ns / SECOND_NS
        if self._under_way is not None:
            outcome = self._under_way.take(slot, now_s)
            if outcome is not None:
                self.outcomes.append(outcome)
                self._under_way = None
        elif self._planned and now_s >= self._planned[0].at_s:
            fault = self._planned.pop(0).fault
            self._under_way = _UnderWay(fault, now_s, self._rig, self._scene, self._period_s)

    def hear(self, words: str) -> bool:
        """Take a warning that the show logged. Returns whether a fault is active."""
        if self._under_way is not None:
            self._under_way.hear(words)
        return self._under_way is not None

    def close(self) -> None:
        """The show has ended: an active fault did not recover, and the rest never came."""
        if self._under_way is not None:
            self.outcomes.append(self._under_way.ended(None))
        for one in self._planned:
            fault, never = one.fault, "the show ended before the fault came"
            self.outcomes.append(
                Outcome(fault.name, fault.what, one.at_s, {}, 0, 0, 0, None, "", False, (never,))
            )
        self._under_way, self._planned = None, []


class _UnderWay:
    """A fault from its start until the scene is back."""

    def __init__(
        self, fault: ShowFault, at_s: float, rig: Rig, scene: Guard, period_s: float
    ) -> None:
        self._fault, self._at_s, self._rig, self._scene = fault, at_s, rig, scene
        self._period_s = period_s
        self._over = False
        self._back_s: float | None = None  # since when the scene has been on the wall
        self._shown: Counter[str] = Counter()
        self._unsent = self._late = 0
        self._restarts = scene.restarts
        self._findings: list[str] = []
        self._told: list[str] = []
        rig.fault = fault
        self._guarded(lambda: fault.begin(rig))

    def take(self, slot: Slot, now_s: float) -> Outcome | None:
        """Count a slot; the outcome, once it is known."""
        fault, gone_s = self._fault, now_s - self._at_s
        if not self._over:
            self._guarded(lambda: fault.step(self._rig, gone_s))
            if gone_s >= fault.lasts_s:
                self._over = True
                self._rig.fault = ShowFault()
                self._guarded(lambda: fault.end(self._rig))
        self._shown["unsent" if slot.sent is None else slot.shown] += 1
        self._unsent += slot.skipped + (slot.sent is None)
        self._late += slot.late
        if slot.shown != "scene" or slot.sent is None or slot.skipped:
            self._back_s = None
        elif self._back_s is None:
            self._back_s = now_s
        if not self._over:
            return None
        if self._back_s is not None and now_s - self._back_s >= _STEADY_S:
            return self.ended(max(self._back_s - self._at_s - self._period_s, 0.0))
        return self.ended(None) if gone_s >= fault.lasts_s + MOST_AWAY_S else None

    def hear(self, words: str) -> None:
        """Keep the last few warnings of the show."""
        self._told = [*self._told, words][-_MOST_TOLD:]

    def _guarded(self, change: Callable[[], None]) -> None:
        """Change the rig; an error in this is a finding."""
        try:
            change()
        except (ForeglowError, OSError) as error:
            self._findings.append(f"{type(error).__name__}: {error}")

    def ended(self, back_s: float | None) -> Outcome:
        """The outcome of the fault."""
        fault = self._fault
        shown = {name: round(count * self._period_s, 6) for name, count in self._shown.items()}
        findings = [*self._findings, *fault.findings()]
        if back_s is None:
            findings.append("; ".join(["the scene did not come back", *self._told]))
        return Outcome(
            fault.name,
            fault.what,
            self._at_s,
            {name: seconds for name, seconds in shown.items() if name != "scene"},
            self._unsent,
            self._late,
            self._scene.restarts - self._restarts,
            None if back_s is None else round(back_s, 6),
            fault.told(),
            fault.tried,
            tuple(findings),
        )
