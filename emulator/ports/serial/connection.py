"""The connection to a board: opened, greeted, lost, and opened again."""

from __future__ import annotations

import logging
from collections.abc import Callable

from emulator.clock import Clock
from emulator.ports.serial.port import LinkError, Port
from emulator.ports.serial.protocol import (
    DEFAULT_HOLD,
    FROM_BOARD,
    Ack,
    Decoder,
    Description,
    Hello,
    encode,
)

LOOK_NS = 1_000_000  # between looks for an answer
_GREET_NS = 500_000_000  # between hellos: opening its port may restart a board
_PATIENCE_NS = 5_000_000_000  # for an answer to hello
_RETRY_NS, _MOST_RETRY_NS = 100_000_000, 2_000_000_000  # before a port is opened again

_log = logging.getLogger("foreglow.serial")


class Connection:
    """Sends bytes to a board and takes its acknowledgements, over a port that may be unplugged.

    open_port: opens the port again; raises LinkError if it is missing.
    judge: returns an error if a board's description does not fit, else None.
    hold: the hold time for the board, as in Hello.
    answers: False for a link without a way back: it is up as soon as the port is open.

    board: the board's description; None until it has sent one. heard: messages from it so far.
    outages: how often the link was lost. lost_ns: how long it was lost in all, up to the last time
    it came back. bad: answers that could not be read. The log `foreglow.serial` reports outages.

    Raises LinkError if the port cannot be opened; later losses are not raised.
    """

    def __init__(
        self,
        open_port: Callable[[], Port],
        clock: Clock,
        judge: Callable[[Description], LinkError | None],
        answers: bool,
        hold: int = DEFAULT_HOLD,
    ) -> None:
        self._open_port, self._clock, self._judge = open_port, clock, judge
        self._complaint: LinkError | None = None
        self._answers = answers
        # A board that does not know the hold time cannot read the second hello and ignores it.
        self._greeting = encode(Hello()) + encode(Hello(hold=hold))
        self._port: Port | None = None
        self.board: Description | None = None
        self.heard = self.outages = self.lost_ns = 0
        self._bad_before = 0  # of the decoders of earlier openings
        self._decoder = Decoder(FROM_BOARD)
        self._out_since_ns: int | None = None
        self._retry_ns = _RETRY_NS
        self._try_at_ns = 0
        self._open()

    @property
    def up(self) -> bool:
        """Whether frames may be written."""
        return self._port is not None and (self.board is not None or not self._answers)

    @property
    def bad(self) -> int:
        """Answers that could not be read."""
        return self._bad_before + self._decoder.bad

    def wait_for_board(self) -> None:
        """Return when the board has described itself. Raises LinkError if it does not."""
        while not self.up:
            now_ns = self._clock.now_ns()
            if self._port is None or self._complaint or now_ns >= self._give_up_ns:
                raise self._complaint or LinkError(
                    "no board answers on the serial link",
                    fix="check device, baud rate, and that the board runs the receiver;"
                    " answers=no if it has no way back.",
                )
            self._greet_again(now_ns)
            self.listen()
            self._clock.wait_until(now_ns + LOOK_NS)

    def ready(self) -> bool:
        """Whether the link is up. If it is not, this first tries to open it, if that is due."""
        now_ns = self._clock.now_ns()
        if self._port is None and now_ns >= self._try_at_ns:
            try:
                self._open()
            except LinkError:
                self._try_later()
        if self._port is not None and not self.up:
            self.listen()
            if self._complaint or now_ns >= self._give_up_ns:
                self.lose(str(self._complaint or "no board answers"))
            else:
                self._greet_again(now_ns)
        if self.up and self._out_since_ns is not None:
            lost_ns = now_ns - self._out_since_ns
            self.lost_ns += lost_ns
            self._out_since_ns, self._retry_ns = None, _RETRY_NS
            _log.warning("the serial link is back after %.1f s", lost_ns / 1e9)
        return self.up

    def listen(self) -> list[Ack]:
        """The acknowledgements that have come; does not wait."""
        if self._port is None:
            return []
        try:
            messages = self._decoder.feed(self._port.read())
        except LinkError as error:
            self.lose(str(error))
            return []
        self.heard += len(messages)
        for message in messages:
            if isinstance(message, Description):
                self._complaint = self._judge(message)
                self.board = None if self._complaint else message
        return [message for message in messages if isinstance(message, Ack)]

    def write(self, data: bytes) -> bool:
        """Write bytes; returns whether that worked."""
        if self._port is None:
            return False
        try:
            self._port.write(data)
        except LinkError as error:
            self.lose(str(error))
            return False
        return True

    def lose(self, why: str) -> None:
        """The link is lost: close the port and try again later."""
        self.close()
        if self._out_since_ns is None:
            self._out_since_ns = self._clock.now_ns()
            self.outages += 1
            _log.warning("the serial link has failed: %s", why)
        self._try_later()

    def close(self) -> None:
        """Close the port."""
        if self._port is not None:
            self._port.close()
            self._port = None

    def _open(self) -> None:
        self._bad_before, self._decoder = self.bad, Decoder(FROM_BOARD)
        self.board = None
        self._complaint = None
        self._port = self._open_port()
        self._give_up_ns = self._clock.now_ns() + _PATIENCE_NS
        self._greet_at_ns = 0
        self._greet_again(self._clock.now_ns())

    def _greet_again(self, now_ns: int) -> None:
        if now_ns >= self._greet_at_ns:
            self._greet_at_ns = now_ns + _GREET_NS
            self.write(b"\0" + self._greeting)  # the 0 ends anything the board has got so far

    def _try_later(self) -> None:
        self._try_at_ns = self._clock.now_ns() + self._retry_ns
        self._retry_ns = min(2 * self._retry_ns, _MOST_RETRY_NS)
