"""The base of outputs that show the emulated wall in real time, on a surface of some kind."""

from __future__ import annotations

from typing import Generic

from numpy.typing import ArrayLike

from emulator.bench import Bench, WireData
from emulator.clock import Clock, RealClock
from emulator.description.display import Display
from emulator.errors import OutputClosedError
from emulator.ports.output import Output
from emulator.strip import Sent
from emulator.view.controls import State
from emulator.view.rate import Rate
from emulator.view.shown import Shown
from emulator.view.status import Status
from emulator.view.surface import SCREEN_PERIOD_NS, Opens, S
from emulator.view.viewing import Viewing

_KEEP = 256  # frames in the recording: enough to look back a few seconds, bounded all day
_PLAYING = "pictures from your program"


class SurfaceOutput(Output, Generic[S]):
    """Sends to a Bench on a real clock, and shows what its LEDs have latched.

    `send` takes as long as hardware would: wire time and reset. While the surface is paused it
    holds `send` back; a single step lets one through. When it is closed, a frame already on the
    wire is finished. A `send` that a pause holds back, and every later one, raises
    OutputClosedError.

    It counts frames that came too early ('sent early': their bits go to LEDs further down), and
    frames that with their reset time took longer than a period of the display's frame rate ('wall
    late').

    opens: makes the surface. clock: default: real time; tests give a simulated one. Raises what
    `opens` raises.
    """

    def __init__(self, display: Display, opens: Opens[S], clock: Clock | None = None) -> None:
        self._pumping = _PumpingClock(clock or RealClock(), self)
        self.bench = Bench(display, self._pumping, powered=True, keep=_KEEP)
        self.state = State(choose_time=False, viewing=Viewing.of(display))
        self.screen = opens(display, self.state, self._pumping)
        self.playing = _PLAYING
        self._shown = Shown.of(self.bench)
        self._wire_ns: int | None = None
        self._early = self._overran = 0  # frames
        self._period_ns = round(1e9 / display.controller.frame_rate)
        self._rate = Rate()
        self._next_draw_ns = 0
        self._draw()

    def send(self, picture: ArrayLike) -> Sent:
        """As Output.send. Raises OutputClosedError and PictureError."""
        self._wait_for_leave()
        return self._show(self.bench.send(picture))

    def send_frame(self, data: WireData) -> Sent:
        """As Output.send_frame. Raises OutputClosedError and FrameError."""
        self._wait_for_leave()
        return self._show(self.bench.send_frame(data))

    def close(self) -> None:
        """Close the surface; you can still read the bench and its recording."""
        self.screen.close()

    def pump(self) -> None:
        """Take what users have done and draw what is new: at most 60 times a second."""
        if self.state.closed:
            return
        self.screen.pump()
        if not self.state.closed and self._pumping.now_ns() >= self._next_draw_ns:
            self._draw()

    def _wait_for_leave(self) -> None:
        """Return when a frame may be sent. Raises OutputClosedError."""
        self.pump()
        while self.state.paused and not self.state.steps and not self.state.closed:
            self._rate.forget()
            self._pumping.wait_until(self._pumping.now_ns() + SCREEN_PERIOD_NS)
        if self.state.closed:
            self.close()
            raise OutputClosedError(
                f"the view of '{self.bench.display.name}' has been closed",
                fix="end the loop on OutputClosedError, or open a new output.",
            )
        self.state.steps = max(self.state.steps - 1, 0)

    def _show(self, sent: Sent) -> Sent:
        self._shown = Shown.of(self.bench)
        self._wire_ns = sent.wire_ns
        self._early += sent.early
        self._overran += sent.ready_ns - sent.starts_ns > self._period_ns
        self._rate.count(self._pumping.now_ns())
        self.pump()
        return sent

    def _draw(self) -> None:
        now_ns = self._pumping.now_ns()
        rate, shown = self._rate.at(now_ns), self._shown
        status = Status(
            self.playing,
            now_ns,
            self._wire_ns,
            rate,
            supply=shown.supply,
            period_ns=self._period_ns,
            missed=((self._early, "sent early"), (self._overran, "wall late")),
        )
        if self.screen.draw(shown.drives, shown.light, status):
            self._next_draw_ns = now_ns + SCREEN_PERIOD_NS


class _PumpingClock(Clock, Generic[S]):
    """Another clock that keeps the surface alive while it waits."""

    def __init__(self, clock: Clock, output: SurfaceOutput[S]) -> None:
        self._clock, self._output = clock, output

    def now_ns(self) -> int:
        return self._clock.now_ns()

    def wait_until(self, time_ns: int) -> None:
        while (now_ns := self.now_ns()) < time_ns:
            self._output.pump()
            self._clock.wait_until(min(time_ns, max(now_ns, self.now_ns()) + SCREEN_PERIOD_NS // 2))
