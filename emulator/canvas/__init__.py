"""From a picture to the bytes on the wire: the same steps for emulation and hardware.

The steps, in this order, each a pure function of arrays (one picture, or a stack with a leading
time axis). `[canvas]` in the display file sets them:

1. check the picture: shape, dtype and values (`check_picture`).
2. pick each LED's cell; this drops what the picture has in gaps. Hidden LEDs get nothing.
3. transfer curve: code values of a uint8 picture become linear light. A float picture is linear
   light already. LEDs need no curve of their own: light is linear in drive (PWM).
4. white balance, then brightness: factors on linear light, so they come after the curve, and
   colours keep their hue when dimmed (`meant_light` is the picture up to here).
5. to 8 bits: rounded, or dithered in time (`dither`).
6. white channel: what R, G and B have in common. After the rounding, so that the light of W and
   of the colours is rounded once and not twice.
7. current limit: the last step that changes light, since it depends on what is sent. A frame
   that it limits has whole drives only, so dithering in time stops while the limit acts; the
   fractions are spread over the LEDs instead (`current`).
8. wire order and the chip's framing (`to_wire`).

`to_drives` does steps 1 to 6; `Canvas` does all of them and keeps the state between frames.
"""

from __future__ import annotations

from emulator.canvas.canvas import Canvas
from emulator.canvas.current import current_a, limit_current
from emulator.canvas.dither import dither, led_offsets
from emulator.canvas.drives import to_drives
from emulator.canvas.limiter import LimiterState, limit_smoothly
from emulator.canvas.meant import full_light, meant_light
from emulator.canvas.wire import line_bytes, to_wire
from emulator.picture.check import check_picture

__all__ = [
    "Canvas",
    "LimiterState",
    "check_picture",
    "current_a",
    "dither",
    "full_light",
    "led_offsets",
    "limit_current",
    "limit_smoothly",
    "line_bytes",
    "meant_light",
    "to_drives",
    "to_wire",
]
