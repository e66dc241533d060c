"""The emulated display on a clock: bytes in, LEDs that latch, a recording out."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator import canvas
from emulator.arrays import Bytes
from emulator.asbuilt import AsBuilt
from emulator.clock import Clock, SimulatedClock
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from emulator.errors import FrameError
from emulator.leds import Leds
from emulator.lines import Lines
from emulator.power.network import Network, build_network
from emulator.power.supply import Powered, Supplies
from emulator.recorder import Recorder
from emulator.signal.roundtrip import Reader
from emulator.strip import Sent, Strip, line_begins_ns, sent_of
from emulator.wirebytes import as_bytes, is_bytes

WireData = bytes | bytearray | memoryview | ArrayLike | Sequence[bytes | ArrayLike]


class Bench:
    """An emulated display, driven like a real one.

    clock: default SimulatedClock. keep: how many frames `recorder` remembers (see Recorder).

    Lines are driven in parallel, or in turn where [controller] says so. With `waveform` the bench
    turns every frame into edges, then judges and decodes them as the chips would. Without it, the
    bytes latch directly. Both give the same frames for every legal waveform (tests/test_bench.py).

    With `powered` the LEDs get the voltage that supplies and wires leave them: far ends are dimmer
    and redder, an overloaded supply folds back or trips, and `light` and `picture` show it.
    Without it, they show what the drives ask for. `current` and `rail_volts` work in both cases.

    With `faults`, the wall is as it was built, not as planned: sentences such as
    'data-open line=0 after=143' (`foreglow faults` lists them), beside those of the display file.
    What is sent stays as planned; each fault acts at its own stage on the way to the light.

    Sending records: a frame goes to `recorder` when `send`, `send_frame` or `send_frames` has
    waited for its latch, or as the next one starts. Only a frame sent with a short `hold_ns` is
    still on the wire then; `settle` records it once it has been latched. Reading what the LEDs
    show (`drives`, `light`, `picture`, `power` …) records nothing and changes nothing.

    LEDs latch one after the other, each a little later than the one before: `Sent.latched_ns` is
    when the last one does, and `strips` have each LED's time. The bench rounds this: for its clock,
    its values and its recorder, all LEDs show a frame as soon as the lines are ready for the next
    one. That is up to 0.3 µs per LED too soon.
    """

    def __init__(
        self,
        display: Display,
        clock: Clock | None = None,
        *,
        waveform: bool = False,
        powered: bool = False,
        keep: int | None = None,
        faults: Sequence[Fault | str] = (),
    ) -> None:
        chip = display.chip
        if faults:
            # Here: few walls have faults, and the kinds take a while to load.
            from emulator.description.faults.reading import with_faults

            display = with_faults(display, faults)
        self.display = display
        self.clock = clock or SimulatedClock()
        self.recorder = Recorder(display.leds, len(chip.channels), keep)
        self._waveform = waveform
        self._powered = powered
        self._canvas = canvas.Canvas(display)
        self._supplies = Supplies(chip)
        self._joined: tuple[int, Bytes] | None = None  # what chips hold, and when
        self._clock_hz = display.controller.clock_mhz * 1e6
        self._wall = AsBuilt(display, display.faults) if display.faults else None
        self._powered |= self._wall is not None and self._wall.needs_power
        now = None if self._wall is None else self._wall.at(self.clock.now_ns())
        self._lines = Lines(display, self._clock_hz, None if now is None else now.chains)
        self._line_ends = np.cumsum(canvas.line_bytes(display))
        self._pending: Sent | None = None  # the frame on the wire
        self._reader = Reader(chip.wire, self._clock_hz)

    @property
    def strips(self) -> tuple[Strip, ...]:
        """The chips of each line, with each LED's time."""
        return self._lines.strips

    def send(self, picture: ArrayLike, hold_ns: int | None = None) -> Sent:
        """Show a picture (rows, columns, 3): uint8 by `canvas.curve`, or float linear light 0…1.

        Dims it if it would draw more than the display file's `limit_a`. Returns when the LEDs have
        latched it, or earlier with a short `hold_ns`: see `send_frame`. Raises PictureError, and
        FrameError for a `hold_ns` that is not a whole number from 0.
        """
        return self._send(self._canvas.wire(picture, self.clock.now_ns()), hold_ns)

    def send_frame(self, data: WireData, hold_ns: int | None = None) -> Sent:
        """Put bytes on the wire, in wire order.

        data: bytes, or uint8 or whole numbers 0…255 of shape (B,); or a list with such a piece for
        each line. One piece is split by the lines' lengths; the last line gets the rest.
        hold_ns: how long the controller keeps the line low after the data; default: as long as
        the chip needs. With less, the next frame may come too early. [ns]
        Raises FrameError.
        """
        return self._send(self.split(data), hold_ns)

    def send_frames(self, data: Bytes, period_ns: int) -> NDArray[np.int64]:
        """Put whole frames, uint8 (T, B), on the wire, one every `period_ns`; T may be 0.

        The result is that of T calls of `send_frame` at those times, but one calculation gives it,
        many times faster. (With `waveform`, or if bytes lack the chip's framing, they are T calls.)
        Afterwards the clock is at the end of the last period, so that one stack can follow another.
        Returns `latched_ns` of each frame, int64 (T,). If a frame is not for all LEDs, or the
        period is shorter than its wire and reset time, it raises FrameError and sends nothing.
        """
        data = np.asarray(data)
        if data.ndim != 2 or data.dtype != np.uint8 or data.shape[1] != self._line_ends[-1]:
            raise FrameError(
                f"frames of {data.dtype} and shape {data.shape}",
                fix=f"give uint8 of shape (frames, {self._line_ends[-1]}).",
            )
        if not isinstance(period_ns, (int, np.integer)):
            raise FrameError(f"period_ns is {period_ns!r}", fix="give whole nanoseconds.")
        lines = np.split(data, self._line_ends[:-1], axis=1)
        wires_ns, offsets_ns = self._times_ns(lines)
        takes_ns = np.max(offsets_ns + wires_ns, axis=0) + self.strips[0].reset_ns
        if takes_ns.max(initial=0) > period_ns:
            raise FrameError(
                f"a frame every {period_ns} ns, but one takes {takes_ns.max()} ns",
                fix="give a longer period, or use send_frame to see the effect.",
            )
        plain = self._wall is None and not self._waveform
        stackable = plain and all(
            strip.takes_whole(part).all() for strip, part in zip(self.strips, lines, strict=True)
        )
        begin_ns = self.clock.now_ns()
        self._settle(begin_ns)
        # When the first frame starts, another may still be on the wire; later the line is at rest.
        on_its_way = self._pending is not None or any(s.goes_on_at(begin_ns) for s in self.strips)
        single = int(on_its_way) if stackable else len(data)
        latched_ns = np.zeros(len(data), dtype=np.int64)
        for number, frame in enumerate(data[:single]):
            self.clock.wait_until(begin_ns + number * int(period_ns))
            sent = self._send(np.split(frame, self._line_ends[:-1]), None)
            begin_ns = begin_ns if number else sent.starts_ns
            latched_ns[number] = sent.latched_ns
        if len(data) > single:
            starts_ns = begin_ns + period_ns * np.arange(single, len(data))
            stacks = [part[single:] for part in lines]
            begins_ns = starts_ns + offsets_ns[:, single:]
            self._send_stack(stacks, begins_ns, starts_ns + takes_ns[single:])
            latched_ns[single:] = np.max(
                [
                    begin_ns + strip.latch_ns_each(stack)
                    for strip, stack, begin_ns in zip(self.strips, stacks, begins_ns, strict=True)
                ],
                axis=0,
            )
        self.clock.wait_until(int(begin_ns + period_ns * len(data)))
        return latched_ns

    def settle(self) -> None:
        """Record the frame on the wire, if it has been latched by now.

        You need it only after a `send` with a short `hold_ns`, once the clock has moved on. Every
        other frame is recorded by the `send` that sent it. More calls change nothing.
        """
        self._settle(self.clock.now_ns())

    def split(self, data: WireData) -> list[Bytes]:
        """The bytes (B,) of each line, as `send_frame` takes them. Raises FrameError."""
        lines = len(self.strips)
        if isinstance(data, (bytes, bytearray, memoryview)):
            whole = np.frombuffer(data, dtype=np.uint8)
        elif isinstance(data, (list, tuple)) and len(data) and is_bytes(data[0]):
            if len(data) != lines:
                raise FrameError(
                    f"{len(data)} pieces of bytes for {lines} line(s)",
                    fix="give one piece a line, or one piece for all.",
                )
            return [as_bytes(piece) for piece in data]
        else:
            whole = as_bytes(data)
        if lines == 1:
            return [whole]
        return np.split(whole, self._line_ends[:-1])

    def begins_ns(self, lines: list[Bytes], starts_ns: int) -> list[int]:
        """When the first bit of each line of a frame leaves the controller; the frame's does at
        starts_ns."""
        if not self.display.in_turn:
            return [starts_ns] * len(lines)
        begins_ns: list[int] = (starts_ns + self._times_ns(lines)[1]).tolist()
        return begins_ns

    def _times_ns(self, lines: list[Bytes]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """(L, …) each: how long frames (…, B) of each line take, and when they begin in a frame."""
        wires_ns = np.array(
            [strip.wire_ns_each(part) for strip, part in zip(self.strips, lines, strict=True)]
        )
        return wires_ns, line_begins_ns(wires_ns, self.display)

    def _send(self, lines: list[Bytes], hold_ns: int | None) -> Sent:
        if hold_ns is not None and (type(hold_ns) is not int or hold_ns < 0):
            raise FrameError(f"hold_ns is {hold_ns!r}", fix="give whole nanoseconds, 0 or more.")
        starts_ns = self.clock.now_ns()
        self._settle(starts_ns)
        begins_ns = self.begins_ns(lines, starts_ns)
        if self._waveform:
            lines = list(map(self._reader.read, lines, begins_ns))
        if self._wall is not None:
            now = self._wall.at(starts_ns).before_data(self.strips, self._volts)
            arriving = zip(self.strips, lines, begins_ns, strict=True)
            arrivals = tuple(
                now.receive(output, strip, data, begin_ns, lambda: self.power.rails)
                for output, (strip, data, begin_ns) in enumerate(arriving)
            )
        else:
            arrivals = self._lines.receive(lines, begins_ns)
        sent = sent_of(starts_ns, arrivals)
        self._pending, self._joined = sent, None
        ends_ns = starts_ns + sent.wire_ns
        self.clock.wait_until(sent.ready_ns if hold_ns is None else ends_ns + hold_ns)
        self.settle()
        return sent

    def _send_stack(
        self, lines: list[Bytes], begins_ns: NDArray[np.int64], ready_ns: NDArray[np.int64]
    ) -> None:
        """Take frames (T, B) of each line, begun at begins_ns (L, T), when its line is at rest."""
        shown = [
            strip.receive_stack(part, begin_ns)
            for strip, part, begin_ns in zip(self.strips, lines, begins_ns, strict=True)
        ]
        drives, self._joined = np.concatenate(shown, axis=1), None
        self.recorder.extend(ready_ns, drives)
        if self._powered:
            self._supplies.run(self.network, drives, ready_ns)

    def _settle(self, now_ns: int) -> None:
        """Record the frame on the wire once nothing can change it any more."""
        if self._pending is not None and now_ns >= self._pending.ready_ns:
            time_ns = self._pending.ready_ns
            if self._powered:  # before chips reset, as that follows from it
                chips = self._latched_at(time_ns)
                self._supplies.run(self.network, chips[None], np.array([time_ns]))
            self.recorder.append(time_ns, self._shown_at(time_ns))
            self._pending = None

    @cached_property
    def leds(self) -> Leds:
        """The LEDs by number: set them, then `send` them to this bench. They start dark."""
        return Leds(self.display, self)

    @property
    def drives(self) -> Bytes:
        """(N, C) uint8: what each LED shows now, in the order R G B, then W or I."""
        return self._shown_at(self.clock.now_ns()).copy()

    def _chips_at(self, time_ns: int) -> Bytes:
        """(N, C) what the chips of all lines hold; of many lines, joined once a frame."""
        if self._joined is None or self._joined[0] != time_ns or self._wall is not None:
            self._joined = time_ns, self._lines.frame_at(time_ns)
        return self._joined[1]

    def _latched_at(self, time_ns: int) -> Bytes:
        chips = self._chips_at(time_ns)
        return chips if self._wall is None else self._wall.at(time_ns).latched(chips)

    def _shown_at(self, time_ns: int) -> Bytes:
        chips = self._chips_at(time_ns)
        return chips if self._wall is None else self._wall.at(time_ns).shown(chips, self._volts)

    @property
    def frames(self) -> Bytes:
        """(T, N, C) uint8: every frame latched so far; `recorder.times_ns` says when.

        Settles first (see `settle`), so that none is missing.
        """
        self.settle()
        return self.recorder.drives

    @property
    def network(self) -> Network:
        """The wires and supplies of the display; as built, if it has faults."""
        return self._planned if self._wall is None else self._wall.at(self.clock.now_ns()).network

    @cached_property
    def _planned(self) -> Network:
        return build_network(self.display)

    @property
    def power(self) -> Powered:
        """Voltages and currents now, as a stack of one frame (T = 1).

        Only a `powered` bench keeps the history of its supplies, and only `send` adds to it:
        reading this value changes nothing.
        """
        return self._power_of(self._shown_at(self.clock.now_ns()))

    def _power_of(self, drives: Bytes) -> Powered:
        """What drives (N, C) would get now."""
        return self._supplies.power(self.network, drives, self.clock.now_ns())

    def _volts(self, drives: Bytes) -> NDArray[np.float64]:
        volts: NDArray[np.float64] = self._power_of(drives).rails.led_volts[0]
        return volts

    def current(self) -> float:
        """The current of all supplies now, in amperes, with voltage drop and overload."""
        return float(self.power.rails.total_current_a[0])

    def rail_volts(self) -> NDArray[np.float64]:
        """(N,) float64: voltage between + and ground of each LED now. [V]"""
        return self._volts(self.drives)

    @property
    def glow(self) -> NDArray[np.float32] | None:
        """(N, L) light of each light-giving channel for its drive, 1 as planned; None without
        faults."""
        return None if self._wall is None else self._wall.at(self.clock.now_ns()).glow

    @property
    def light(self) -> NDArray[np.float32]:
        """(N, 3) linear light of each LED now: 1 is one channel at full drive.

        A white channel adds to all three; a common intensity scales them.
        """
        glow = self.glow
        if self._powered:
            delivered = self.power.rails.delivered[0].astype(np.float32)
            delivered *= 1 if glow is None else glow
            light: NDArray[np.float32] = delivered[:, :3]
            if delivered.shape[1] > 3:
                light += delivered[:, 3:]
            return light
        return led_light(self.drives, self.display.chip.channels, glow)

    @property
    def picture(self) -> NDArray[np.float32]:
        """(rows, columns, 3) linear light of each cell now, seen from the front; gaps are dark."""
        return cell_light(self.light, self.display)

    def _repr_png_(self) -> bytes:
        """What a notebook shows: the wall as it looks now."""
        # Imported here: Pillow's fonts load slowly, and few benches are in notebooks.
        from emulator.light.look import Look
        from emulator.light.still import png, still

        grid = self.display.grid
        tall = grid.rows * grid.pitches_mm[1] / (grid.columns * grid.pitches_mm[0])
        wide = round(720 / max(tall, 1.0))  # a tall wall is at most 720 pixels high
        return png(still(self.display, self.picture, wide, look=Look(led_colours=True)))


def led_light(
    drives: Bytes, channels: str, glow: NDArray[np.float32] | None = None
) -> NDArray[np.float32]:
    """Linear light (…, 3) of drives (…, C): 1 is one channel at full drive.

    A white channel adds to all three; a common intensity scales them. glow: (…, L) the light of
    each light-giving channel beside what it should give; 1 without.
    """
    light = drives[..., :3].astype(np.float32) / np.float32(255)
    if glow is not None:
        light *= glow[..., :3]
    if channels == "RGBW":
        white = drives[..., 3:].astype(np.float32) / np.float32(255)
        light += white if glow is None else white * glow[..., 3:]
    elif channels == "RGBI":
        light *= drives[..., 3:].astype(np.float32) / np.float32(31)
    return light


def cell_light(light: NDArray[np.float32], display: Display) -> NDArray[np.float32]:
    """(…, rows, columns, 3) from the light of each LED (…, N, 3); gaps are dark."""
    return display.wiring.per_cell(light)
