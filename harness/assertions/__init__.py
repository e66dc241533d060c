"""Assertions on what a display shows, when it shows it, and what it draws.

Each takes the bench first and says, where it fails, what was wanted, what is there, and where.
Those on what is shown judge the wall as it is now; the others every frame latched so far.
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
    "assert_motion",
    "assert_no_flash_hazard",
    "assert_not_torn",
    "assert_picture",
    "assert_sequence",
    "assert_shows",
    "assert_volts_at_least",
    "assert_wires_carry",
]
