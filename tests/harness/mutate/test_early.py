"""Uses of a name while a module is imported, against lines counted by hand."""

from __future__ import annotations

from harness.mutate.early import early_uses

SOURCE = """\
MAP = [0, 1]
MAP.append(2)
def cells():
    return MAP
LED_AT = {cell: led for led, cell in enumerate(MAP)}
class Wall:
    own = MAP[0]
    def cell(self, led):
        return MAP[led]
first = lambda: MAP[0]
if MAP:
    NUMBER = len(cells())
"""


def test_lines_that_run_when_the_module_is_imported():
    assert early_uses(SOURCE, "MAP") == (2, 5, 7, 11)
    assert early_uses(SOURCE, "cells") == (12,)
    assert early_uses(SOURCE, "Wall") == ()
