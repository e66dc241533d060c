"""From a picture to the bytes on the wire: the same steps for the stand-in and for hardware.

The steps, in this order, each a pure function of arrays (one picture, or a stack with a leading
time axis); `[canvas]` in the display file sets them, and leaves them at the default as they are:

1. judge the picture: shape, kind and values (`check_picture`).
2. pick each LED's cell; what is drawn in gaps goes nowhere.
3. transfer curve: code values of a uint8 picture become linear light. A float picture is linear
   light already. LEDs need no curve of their own: light is linear in drive (PWM).
4. white balance, then brightness: factors on linear light, so they come after the curve, and
   colours keep their hue when dimmed (`meant_light` is the picture up to here).
5. to 8 bits: rounded, or dithered in time (`dither`).
6. white channel: what R, G and B have in common. After the rounding, so that the light of W and
   of the colours is rounded once and not twice.
7. current limit: last of all that changes light, since it judges what is really sent. A frame
   that it cuts keeps whole drives only, so dithering in time rests while the limit acts; the
   fractions are spread over the LEDs instead (`current`).
8. wire order and the chip's framing (`to_wire`).

`to_drives` takes steps 1 to 6; `Canvas` all of them, with what is remembered between frames.
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
