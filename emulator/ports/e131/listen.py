"""Listening to ANSI E1.31-2018: the display shows what any program sends."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from numpy.typing import ArrayLike

from emulator import canvas
from emulator.arrays import Bytes
from emulator.clock import Clock, RealClock, SimulatedClock
from emulator.errors import OutputClosedError
from emulator.ports.address import Address
from emulator.ports.e131.intake import Intake
from emulator.ports.e131.receiver import Receiver, Tally
from emulator.ports.e131.setup import Setup, read_setup
from emulator.ports.output import Output

Scene = Callable[[float], ArrayLike]
OnLoss = Literal["hold", "dark"] | Scene

_IDLE_NS = 20_000_000  # how often `idle` and `until` are asked when nothing comes


class Player:
    """Plays received frames onto an output. It has no socket: give datagrams to `take`.

    A frame is sent as soon as the LED wire is free; of frames that come while it is busy, only the
    newest. If the output's time is simulated, its clock follows `now_ns`, so a recording has the
    times of arrival.

    on_loss: when the last source of a universe is lost, 'hold' its last levels or go 'dark'. A
    scene (seconds since the loss → picture) plays when the last source of the display is lost,
    at the frame rate of the display file.
    """

    def __init__(
        self,
        output: Output,
        setup: Setup,
        on_loss: OnLoss = "hold",
        tally: Tally | None = None,
    ) -> None:
        self._output = output
        self._scene = on_loss if callable(on_loss) else None
        self.receiver = Receiver(setup.packing, "hold" if callable(on_loss) else on_loss, tally)
        self._next_frame: Bytes | None = None
        self._lost_ns: int | None = None
        self._scene_ns = 0  # when the scene's next picture is due
        self._period_ns = round(1e9 / output.bench.display.controller.frame_rate)

    @property
    def tally(self) -> Tally:
        """The counts of all datagrams so far."""
        return self.receiver.tally

    @property
    def next_ns(self) -> int | None:
        """When `take` must be called next, even if no datagram comes; None: no need. [ns]"""
        times = [self.receiver.next_ns]
        if self._next_frame is not None:
            times.append(self._free_ns)
        elif self._lost_ns is not None:
            times.append(max(self._free_ns, self._scene_ns))
        return min((t for t in times if t is not None), default=None)

    def take(self, datagrams: list[bytes], now_ns: int) -> None:
        """Take datagrams, and show the frames that are due. Raises what the output raises."""
        frames = self.receiver.advance(now_ns)
        for datagram in datagrams:
            frames += self.receiver.receive(datagram, now_ns)
        if frames:
            self.tally.superseded += len(frames) - (self._next_frame is None)
            self._next_frame = frames[-1]
        self._note_loss(now_ns)
        if now_ns < self._free_ns:
            return
        if self._next_frame is not None:
            frame, self._next_frame = self._next_frame, None
            self._catch_up(now_ns)
            self._output.send_frame(canvas.to_wire(frame, self._output.bench.display))
        elif self._scene and self._lost_ns is not None and now_ns >= self._scene_ns:
            self._scene_ns = now_ns + self._period_ns
            self._catch_up(now_ns)
            self._output.send(self._scene((now_ns - self._lost_ns) / 1e9))

    def _note_loss(self, now_ns: int) -> None:
        if self._scene is None or not self.tally.losses or self.receiver.live:
            self._lost_ns = None
        elif self._lost_ns is None:
            self._lost_ns = now_ns

    @property
    def _free_ns(self) -> int:
        """When the LED wire is free after the last frame. In real time `send` has waited for it."""
        clock = self._output.bench.clock
        return clock.now_ns() if isinstance(clock, SimulatedClock) else 0

    def _catch_up(self, now_ns: int) -> None:
        clock = self._output.bench.clock
        if isinstance(clock, SimulatedClock):
            clock.wait_until(now_ns)


def listen_e131(
    output: Output,
    address: str = "e131:",
    *,
    on_loss: OnLoss = "hold",
    idle: Callable[[], None] = lambda: None,
    until: Callable[[], bool] = lambda: False,
    clock: Clock | None = None,
    tally: Tally | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> Tally:
    """Show on an output what programs send to an address, until the output is closed.

    address: as for `open_output`. 'e131:' hears only this machine (127.0.0.1, port 5568),
    'e131://0.0.0.0' everyone who sends to this machine; 'e131://239.255.0.1' joins the multicast
    groups of the display's universes. on_loss: see Player. idle: called at least 50 times a second
    (a window handles its events there). Listening ends when `until` returns True. tally: counts
    into this one, so that you have the figures even after an exception. say: called once with a
    text that says what is listened to.

    Returns the tally of all datagrams. Raises AddressError, and what the output raises, except for
    OutputClosedError, which ends listening.
    """
    display = output.bench.display
    parsed = Address.parse(address)
    setup = read_setup(parsed, display)
    player = Player(output, setup, on_loss, tally)
    clock = clock or RealClock()
    with Intake(setup, parsed) as intake:
        say(setup.heard)
        while not until():
            now_ns = clock.now_ns()
            next_ns = player.next_ns
            wait_ns = _IDLE_NS if next_ns is None else min(_IDLE_NS, next_ns - now_ns)
            datagrams = intake.receive(max(wait_ns, 0) / 1e9)
            player.tally.missed = intake.missed
            try:
                player.take(datagrams, clock.now_ns())
                idle()
            except OutputClosedError:
                break
    return player.tally
