"""The registry of the kinds of faults, by name, in the order of the path of a frame."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from emulator.description.faults import light, power, signal, strip, wiring
from emulator.description.faults.fault import Fault

KINDS: Mapping[str, type[Fault]] = {
    kind.name: kind for module in (wiring, strip, signal, power, light) for kind in module.KINDS
}


def fault_schema() -> dict[str, Any]:
    """The JSON Schema of a `[[fault]]` table: one of the kinds, with its keys."""
    kinds = []
    for kind in KINDS.values():
        schema = kind.model_json_schema()
        schema["properties"] = {"kind": {"const": kind.name}, **schema["properties"]}
        schema["required"] = ["kind", *schema.get("required", [])]
        kinds.append(schema)
    return {"oneOf": kinds}
