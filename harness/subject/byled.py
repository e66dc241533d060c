"""Turns code that sets LEDs by number into a function from a picture to bytes on the wire."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

from emulator.arrays import Bytes, Srgb
from emulator.bench import WireData
from emulator.description.display import Display
from emulator.errors import SubjectError
from emulator.leds import Leds
from emulator.strip import Sent


def sets_leds(call: Callable[..., Any]) -> bool:
    """Whether a function takes the LEDs: its first argument is called `leds`."""
    try:
        names = list(inspect.signature(call).parameters)
    except (TypeError, ValueError):  # some builtins do not say
        return False
    return names[:1] == ["leds"]


def by_led(call: Callable[..., Any], name: str, display: Display) -> Callable[[Srgb], WireData]:
    """The bytes that result from `call(leds, picture)`, for each picture (rows, columns, 3) uint8.

    leds: the display's `emulator.Leds`, the same for every picture: an LED that the function does
    not set keeps its colour. The frame is what the function sends with `leds.send()`, or else what
    is set when it returns. When called, raises SubjectError for more than one frame for a picture.
    """
    caught: list[list[Bytes]] = []

    class Catch:
        def send_frame(self, data: list[Bytes], /) -> Sent:
            caught.append([line.copy() for line in data])
            return sent

    sent = Sent(0, 0, 0, 0, False, ())
    leds = Leds(display, Catch())

    def to_wire(picture: Srgb) -> WireData:
        caught.clear()
        call(leds, picture)
        if not caught:
            leds.send()
        if len(caught) > 1:
            raise SubjectError(
                f"{name} sent {len(caught)} frames for one picture",
                fix="call leds.send() once for each picture, or leave it out.",
            )
        return caught[0]

    return to_wire
