"""The registry of the kinds of faults, by name, in the order of the path of a frame."""

from __future__ import annotations

from collections.abc import Mapping

from emulator.description.faults import light, power, signal, strip, wiring
from emulator.description.faults.fault import Fault

KINDS: Mapping[str, type[Fault]] = {
    kind.name: kind for module in (wiring, strip, signal, power, light) for kind in module.KINDS
}
