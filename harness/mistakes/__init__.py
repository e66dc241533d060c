"""Mistakes of display code: in its map, in colours and levels, in time.

`levels` holds those of colours and levels, `moments` those of time; the others are faults of map,
wiring and LEDs as transforms, as follows. `harness.mutate` puts all of them into a user's code.

A fault of the map or the wiring changes `cells`, int64 (N,): the picture cell that each LED
shows, which is wiring.cell when all is right. Values below 0 are the marks of
harness.patterns.coded and gap cells are named by their number; `as_seen` turns them into what the
coded pattern reads.
Faults of one wall act in the order of FAULTS: the map first, then strips, then single LEDs. A
fault of the channels changes the light.

What a wall may have once it is built comes from its own registry, `emulator.description.faults`.

To add one: write a frozen dataclass with `what`, `apply` and `example` in the module it belongs to,
and enter it in FAULTS.
"""

from __future__ import annotations

from harness.mistakes.fault import (
    Fault,
    as_seen,
)
from harness.mistakes.leds import (
    ChannelsPermuted,
    Dead,
    Double,
    Stuck,
)
from harness.mistakes.maps import (
    CountedByOtherWidth,
    DrawnForOtherWidth,
    GapCounted,
    OtherHeight,
    OtherWidth,
    WrongAlong,
    WrongCorner,
    WrongMap,
    WrongPath,
)
from harness.mistakes.picture import (
    ColumnsExchanged,
    Mirrored,
    RowsExchanged,
    Transposed,
    Turned,
    UpsideDown,
)
from harness.mistakes.strips import (
    Late,
    LineFromElsewhere,
    LinesExchanged,
    LineShuffled,
    RangeReversed,
    RowShuffled,
    RunReversed,
    RunShuffled,
)

__all__ = [
    "FAULTS",
    "ChannelsPermuted",
    "ColumnsExchanged",
    "CountedByOtherWidth",
    "Dead",
    "Double",
    "DrawnForOtherWidth",
    "Fault",
    "GapCounted",
    "Late",
    "LineFromElsewhere",
    "LineShuffled",
    "LinesExchanged",
    "Mirrored",
    "OtherHeight",
    "OtherWidth",
    "RangeReversed",
    "RowShuffled",
    "RowsExchanged",
    "RunReversed",
    "RunShuffled",
    "Stuck",
    "Transposed",
    "Turned",
    "UpsideDown",
    "WrongAlong",
    "WrongCorner",
    "WrongMap",
    "WrongPath",
    "as_seen",
]

FAULTS: dict[str, type[Fault]] = {
    "wrong path": WrongPath,
    "wrong corner": WrongCorner,
    "wrong along": WrongAlong,
    "gap counted": GapCounted,
    "other width": OtherWidth,
    "other height": OtherHeight,
    "drawn for other width": DrawnForOtherWidth,
    "counted by other width": CountedByOtherWidth,
    "mirrored": Mirrored,
    "upside down": UpsideDown,
    "turned": Turned,
    "transposed": Transposed,
    "rows exchanged": RowsExchanged,
    "columns exchanged": ColumnsExchanged,
    "lines exchanged": LinesExchanged,
    "line from elsewhere": LineFromElsewhere,
    "run reversed": RunReversed,
    "range reversed": RangeReversed,
    "run shuffled": RunShuffled,
    "row shuffled": RowShuffled,
    "line shuffled": LineShuffled,
    "late": Late,
    "double LED": Double,
    "dead LED": Dead,
    "stuck LED": Stuck,
}
