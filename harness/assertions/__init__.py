"""Assertions on what a display shows, when it shows it, and what it draws.

`assert_map` and `assert_right` take the display and the code under test, and replay the test
patterns through it as `foreglow check` does.

The others take the bench first and say, where they fail, what was wanted, what is there, and
where. Those on what is shown judge the wall as it is now; the rest every frame latched so far.
Where nothing was sent, all of them fail: nothing would be proved.
"""

from harness.assertions.flash import assert_no_flash_hazard
from harness.assertions.lit import assert_brightness, assert_dark, assert_lit
from harness.assertions.motion import assert_motion
from harness.assertions.pace import assert_frame_rate, assert_latched_within, assert_not_torn
from harness.assertions.power import (
    assert_current_at_most,
    assert_volts_at_least,
    assert_wires_carry,
)
from harness.assertions.right import assert_map, assert_right
from harness.assertions.sequence import assert_sequence
from harness.assertions.shown import assert_cell, assert_picture, assert_shows

__all__ = [
    "assert_brightness",
    "assert_cell",
    "assert_current_at_most",
    "assert_dark",
    "assert_frame_rate",
    "assert_latched_within",
    "assert_lit",
    "assert_map",
    "assert_motion",
    "assert_no_flash_hazard",
    "assert_not_torn",
    "assert_picture",
    "assert_right",
    "assert_sequence",
    "assert_shows",
    "assert_volts_at_least",
    "assert_wires_carry",
]
