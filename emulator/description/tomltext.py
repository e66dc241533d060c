"""Values as TOML text, for the display files that foreglow writes."""

from __future__ import annotations

import json
from typing import Any


def toml_value(value: Any) -> str:
    """Strings, booleans, numbers, arrays and inline tables."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        # TOML takes JSON's escapes; it forbids the bare DEL that JSON allows.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(map(toml_value, value))}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{k} = {toml_value(v)}' for k, v in value.items())} }}"
    return str(value)
