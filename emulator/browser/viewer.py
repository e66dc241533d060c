"""One viewer: its newest picture and words, what it has been sent, and what it asks for."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from emulator.browser.facts import SHARED
from emulator.browser.painter import Picture
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.view.controls import Action, State
from emulator.view.rate import Rate

MOST_WIDE = 16384
_AHEAD = 3  # pictures on their way to a viewer that answers soon; 1 to another
_SOON_NS = SECOND_NS // 4
_MOST_MESSAGES = 300  # a second; a page sends one a picture and one a key
_TELL_NS = SECOND_NS  # after this time a page gets the same words again
_SHARED = {action.name: action for action in SHARED}


class Malformed(ValueError):
    """A message is not one that a page sends."""


class Viewer:
    """Lives in the server's thread. Holds references to at most one picture not yet sent.

    wide: the width of its pictures. picked: (column, row) of its card.
    """

    def __init__(self, display: Display, state: State, wide: int) -> None:
        self._display, self._state = display, state
        self.wide = wide
        self.picked: tuple[int, int] | None = None
        self.slot: Picture | None = None
        self.told: str | None = None  # not yet sent
        self._said, self._said_ns = "", 0
        self.numbers_wide: int | None = None  # asked for, and not yet sent
        self.number, self.exact = 0, False  # of the last picture sent
        self.skipped = 0
        self._on_way: dict[int, int] = {}  # number → when it was sent
        self._delay_ns = 0
        self._rate = Rate()
        self._second, self._messages = 0, 0

    def offer(self, picture: Picture) -> None:
        """A new picture of some width; it replaces one not yet sent."""
        if picture.wide == self.wide and self._is_new(picture):
            self.slot = picture

    def tell(self, words: str, now_ns: int) -> bool:
        """Words about the newest frame, to be sent if they are new or the last are a second old.

        Returns whether they are: a page notices by silence that the connection is dead.
        """
        if words == self._said and now_ns - self._said_ns <= _TELL_NS:
            return False
        self.told = self._said = words
        self._said_ns = now_ns
        return True

    @property
    def has_room(self) -> bool:
        """Whether it may be sent a picture."""
        return len(self._on_way) < (_AHEAD if self._delay_ns < _SOON_NS else 1)

    def next_picture(self, now_ns: int) -> Picture | None:
        """The picture to send now, None without one."""
        picture = self.slot
        if picture is None or not self.has_room:
            return None
        self.slot = None
        if not self._is_new(picture):
            return None
        if self.number:
            self.skipped += max(picture.number - self.number - 1, 0)
        self.number, self.exact = picture.number, picture.exact
        self._on_way[picture.number] = now_ns
        return picture

    def link(self, now_ns: int) -> dict[str, Any]:
        """How its pictures arrive: rate a second, how late in ms, how many it skipped."""
        waits = max((now_ns - sent for sent in self._on_way.values()), default=0)
        rate = self._rate.at(now_ns)
        return {
            "rate": None if rate is None else round(rate, 1),
            "delay_ms": round(max(self._delay_ns, waits) / 1e6),
            "skipped": self.skipped,
        }

    def hear(
        self, text: str, now_ns: int, widths: tuple[int, ...], do: Callable[[Action | int], object]
    ) -> None:
        """Take a message of its page; `do` gets an action of the wall, or a source's number.

        Raises Malformed.
        """
        self._count(now_ns)
        try:
            message = json.loads(text)
        except (ValueError, RecursionError):
            raise Malformed("not JSON") from None
        if not isinstance(message, dict) or len(message) != 1:
            raise Malformed("not an object with one name")
        ((name, value),) = message.items()
        match name:
            case "do" if isinstance(value, str) and value in _SHARED:
                do(_SHARED[value])
            case "play" if _whole(value, len(self._state.sources) - 1):
                do(value)
            case "pick" if value is None or self._is_cell(value):
                self.picked = None if value is None else (value[0], value[1])
            case "wide" if _whole(value, MOST_WIDE):
                self._resize(min((w for w in widths if w >= value), default=widths[0]))
            case "numbers" if _whole(value, MOST_WIDE):
                self.numbers_wide = max(value, 1)
            case "seen" if _whole(value, 1 << 53):
                self._saw(value, now_ns)
            case _:
                raise Malformed("an unknown name or value")

    def _count(self, now_ns: int) -> None:
        if now_ns - self._second > SECOND_NS:
            self._second, self._messages = now_ns, 0
        self._messages += 1
        if self._messages > _MOST_MESSAGES:
            raise Malformed("too many messages")

    def _resize(self, wide: int) -> None:
        if wide != self.wide:
            self.wide, self.slot, self.number, self.exact = wide, None, 0, False

    def _saw(self, number: int, now_ns: int) -> None:
        """The page shows picture `number`; it has let go of those before."""
        if number in self._on_way:
            self._delay_ns = now_ns - self._on_way[number]
            self._rate.count(now_ns)
        self._on_way = {sent: at for sent, at in self._on_way.items() if sent > number}

    def _is_new(self, picture: Picture) -> bool:
        return (picture.number, picture.exact) > (self.number, self.exact)

    def _is_cell(self, value: object) -> bool:
        grid = self._display.grid
        return (
            isinstance(value, list)
            and len(value) == 2
            and _whole(value[0], grid.columns - 1)
            and _whole(value[1], grid.rows - 1)
        )


def _whole(value: object, most: int) -> bool:
    return type(value) is int and 0 <= value <= most
