from .flash import assert_no_flash_hazard
from .lit import assert_brightness, assert_dark, assert_lit
from .motion import assert_motion
from .pace import assert_frame_rate, assert_latched_within, assert_not_torn
from .power import (
    assert_current_at_most,
    assert_volts_at_least,
    assert_wires_carry,
)
from .right import assert_map, assert_right
from .sequence import assert_sequence
from .shown import assert_cell, assert_picture, assert_shows

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
