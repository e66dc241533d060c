"""Plays patterns and scenes on an emulated display and shows it in a window of any kind."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Generic

from numpy.typing import ArrayLike

from emulator.bench import Bench
from emulator.clock import Clock, RealClock
from emulator.description.display import Display
from emulator.errors import PictureError, UnknownNameError
from emulator.view.controls import State
from emulator.view.rate import Rate
from emulator.view.shown import Shown
from emulator.view.status import Status, Trouble
from emulator.view.surface import SCREEN_PERIOD_NS, Opens, S
from emulator.view.trouble import trouble_of
from emulator.view.viewing import Viewing

_KEEP = 64  # frames: nobody reads the recording here, and it must not grow all day


class Player(Generic[S]):
    """Asks a source for pictures and shows what the emulated LEDs latch.

    The display has its own clock, which starts at 0 and stops while paused. In real time it keeps
    pace with `clock`. It drops and counts frames that came due while foreglow was busy
    (computer late) or while the line still carried the frame before (wall late). In simulated
    time each step moves the clock by one frame of the display. While a source raises, it
    shows the traceback over the last picture; the clock continues, and it asks again.

    sources: name → function of the time in seconds that returns a picture (rows, columns, 3),
    uint8 code values or float linear light 0…1. playing: the name of the first one. viewing:
    distance and light at the start; default: the display's [view]. opens: makes the surface.
    Raises UnknownNameError, and what `opens` raises.
    """

    def __init__(
        self,
        display: Display,
        sources: Mapping[str, Callable[[float], ArrayLike]],
        playing: str,
        opens: Opens[S],
        *,
        real_time: bool = True,
        clock: Clock | None = None,
        viewing: Viewing | None = None,
    ) -> None:
        if playing not in sources:
            raise UnknownNameError("pattern or scene", playing, sources)
        self.bench = Bench(display, powered=True, keep=_KEEP)
        self._sources = dict(sources)
        names = tuple(self._sources)
        self.state = State(
            names,
            names.index(playing),
            real_time=real_time,
            viewing=viewing or Viewing.of(display),
        )
        self._clock = clock or RealClock()
        self.screen = opens(display, self.state, self._clock)
        self._period_ns = round(1e9 / display.controller.frame_rate)
        self._due_ns = 0  # when the next frame starts, on the display's clock
        self._ahead_ns: int | None = None  # our clock minus the display's, while real time runs
        self._shown = Shown.of(self.bench)
        self._shown_ns = 0
        self._wire_ns: int | None = None
        self._sent_source = self.state.playing
        self._trouble: Trouble | None = None
        # Frames that were due in real time and not shown: foreglow or the line was busy.
        self._computer_late = self._wall_late = 0
        self._rate = Rate()

    def run(self, frames: int | None = None) -> None:
        """Play until it is closed, or for `frames` pictures on the screen (60/s at most).

        Closes it, also after an error.
        """
        count = 0
        next_ns = self._clock.now_ns()
        try:
            while not self.state.closed and (frames is None or count < frames):
                self.step()
                count += 1
                next_ns = max(next_ns + SCREEN_PERIOD_NS, self._clock.now_ns())
                self._clock.wait_until(next_ns)
        finally:
            self.close()

    def step(self) -> None:
        """Take events, move the display forward, draw once."""
        self.screen.pump()
        if self.state.closed:
            return
        self._advance()
        now_ns = self._clock.now_ns()
        self.screen.draw(
            self._shown.drives,
            self._shown.light,
            Status(
                self.playing,
                self._shown_ns,
                self._wire_ns,
                self._rate.at(now_ns),
                self.bench.display.controller.frame_rate,
                self._shown.supply,
                self._period_ns,
                ((self._computer_late, "computer late"), (self._wall_late, "wall late")),
                self._trouble,
            ),
        )

    @property
    def playing(self) -> str:
        """Name of the source that plays."""
        return self.state.sources[self.state.playing]

    def close(self) -> None:
        """Close its surface; a second call does nothing."""
        self.screen.close()

    def _advance(self) -> None:
        state = self.state
        if state.paused:
            self._ahead_ns = None
            self._rate.forget()
            # A source chosen while paused is shown at once.
            frames = max(state.steps, int(state.playing != self._sent_source))
            state.steps = 0
            for _ in range(frames):
                self._send(self._due_ns)
            self._catch_up(self.bench.clock.now_ns())
        elif state.real_time:
            if self._ahead_ns is None:
                self._ahead_ns = self._clock.now_ns() - self._shown_ns
            now_ns = self._clock.now_ns() - self._ahead_ns
            self._catch_up(now_ns)
            if now_ns >= self._due_ns:
                starts_ns = max(self._due_ns, now_ns - now_ns % self._period_ns)
                self._computer_late += (starts_ns - self._due_ns) // self._period_ns
                self._send(starts_ns)
                # Frames also come due while the line is busy with this one.
                self._wall_late += (self._due_ns - starts_ns) // self._period_ns - 1
        else:
            self._ahead_ns = None
            self._send(self._due_ns)
            self._catch_up(self.bench.clock.now_ns())

    def _send(self, starts_ns: int) -> None:
        """Send one frame of the source through the bench; its clock then shows when it is latched.

        If the source gives no picture, the wall keeps the last one until the next frame.
        """
        self._sent_source = self.state.playing
        self.bench.clock.wait_until(starts_ns)
        ready_ns = starts_ns
        try:
            picture = self._sources[self.playing](starts_ns / 1e9)
        except Exception as error:  # of the user's code
            self._trouble = trouble_of(error)
        else:
            ready_ns = self._show(picture, starts_ns)
        # The first period of the display's rate in which the line is free again.
        periods = max(-(-ready_ns // self._period_ns), starts_ns // self._period_ns + 1)
        self._due_ns = periods * self._period_ns

    def _show(self, picture: ArrayLike, starts_ns: int) -> int:
        """Put a picture on the wire; returns when the line is free again. [ns]"""
        try:
            sent = self.bench.send(picture)
        except PictureError as error:
            self._trouble = trouble_of(error)
            return starts_ns
        self._trouble = None
        self._wire_ns = sent.wire_ns
        self._rate.count(self._clock.now_ns())
        return sent.ready_ns

    def _catch_up(self, now_ns: int) -> None:
        """Show what the LEDs have latched at `now_ns` of the display's clock."""
        self._shown_ns = now_ns
        if now_ns >= self.bench.clock.now_ns():
            self._shown = Shown.of(self.bench)
