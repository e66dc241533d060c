"""How much warmer than the room a wall gets: its covers, and the board behind them.

The model is a steady state with heat spread evenly over the wall. Heat goes from the board through
the air to the covers, and from their front into the room; with open air behind the wall, also from
the board's back. Resistances are those of ISO 6946 (from memory): 0.13 m²K/W from an inner surface
to a room, still air and radiation together, and those of closed air layers by their thickness.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SURFACE_M2K_W = 0.13
_LAYER_MM = (0, 5, 7, 10, 15, 25)
_LAYER_M2K_W = (0.0, 0.11, 0.13, 0.15, 0.17, 0.18)  # 0.18 beyond

ASSUMPTION = (
    "Assumed: after hours, with all power as heat, spread evenly, in still air. Heat leaves through"
    " the air behind the covers and from their front (ISO 6946, from memory), and from the back if"
    " that is open. Spots at the LEDs are hotter; sun and heaters add heat; the cells' walls and"
    " the frame carry some away."
)


@dataclass(frozen=True)
class Rise:
    """Kelvin above the room: with a closed back, where all heat leaves by the front, and with
    open air behind."""

    cover_closed_k: float
    board_closed_k: float
    cover_open_k: float
    board_open_k: float


def rise(watts_m2: float, depth_mm: float) -> Rise:
    """The rise for heat in W/m² on a wall whose covers are `depth_mm` in front of the board.

    >>> rise(100, 25).cover_closed_k
    13.0
    """
    layer = float(np.interp(depth_mm, _LAYER_MM, _LAYER_M2K_W))
    front = layer + SURFACE_M2K_W
    closed = watts_m2 * front
    open_ = watts_m2 / (1 / front + 1 / SURFACE_M2K_W)
    share = SURFACE_M2K_W / front  # of the board's rise that the cover has
    return Rise(closed * share, closed, open_ * share, open_)
