"""A bed as DXF R2000 in millimetres, by the library ezdxf."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from emulator.errors import of_extra
from harness.cut.bed import Bed
from harness.cut.drawing import lines_of
from harness.cut.plan import CutPlan
from harness.cut.settings import OPERATIONS
from harness.cut.shape import Hole

if TYPE_CHECKING:
    from types import ModuleType

_HAIRLINE = 0  # lineweight in 1/100 mm: the thinnest, which cutters follow


def check_ezdxf() -> None:
    """Raise UnsupportedError if ezdxf is missing."""
    _ezdxf()


def colour_hex(number: int) -> str:
    """A colour of the AutoCAD Color Index as '#rrggbb'; 7 is black here, on white."""
    if number == 7:
        return "#000000"
    red, green, blue = _ezdxf().colors.aci2rgb(number)
    return f"#{red:02x}{green:02x}{blue:02x}"


def bed_dxf(plan: CutPlan, one: Bed) -> bytes:
    """The file of a bed: a layer for each operation, y upwards, origin at a corner of the bed.

    The same plan gives the same bytes.
    """
    ezdxf = _ezdxf()
    with _without_dates(ezdxf):
        document = ezdxf.new("R2000", units=ezdxf.units.MM)
        for operation in OPERATIONS:
            line = plan.settings.lines[operation]
            if line.layer not in document.layers:
                document.layers.add(line.layer, color=line.colour, lineweight=_HAIRLINE)
        space = document.modelspace()
        for drawn in lines_of(plan, one):
            style = plan.settings.lines[drawn.operation]
            how = {"layer": style.layer, "color": style.colour}
            if isinstance(drawn.line, Hole):
                hole = drawn.line
                space.add_circle((hole.x, hole.y), hole.diameter / 2, dxfattribs=how)
            else:
                space.add_lwpolyline(drawn.line, close=drawn.closed, dxfattribs=how)
        document.header["$EXTMIN"] = (0, 0, 0)
        document.header["$EXTMAX"] = (*plan.settings.bed, 0)
        text = io.StringIO()
        document.write(text)
    return text.getvalue().encode("ascii", "xmlcharrefreplace")


@contextmanager
def _without_dates(ezdxf: Any) -> Iterator[None]:
    """ezdxf writes dates and random numbers that identify a file; here the same ones each time."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _ezdxf() -> ModuleType:
    with of_extra("cut", "DXF files need ezdxf"):
        import ezdxf  # slow to load
        import ezdxf.colors
        import ezdxf.units
    return ezdxf
