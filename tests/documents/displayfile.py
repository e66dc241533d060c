"""The reference of the display file, made from its schema."""

from __future__ import annotations

import json
from typing import Any

from emulator.description.sections import DisplayFile

_HEAD = """\
# The display file, key by key

One TOML file describes what you build. `foreglow new mywall.toml --columns 36 --rows 20` writes one
with every key and a comment. `foreglow schema` prints the JSON Schema for your editor. This page is
made from that schema by `python -m tests.documents`.

```toml
about = "the sign above the bar"

[grid]
columns = 24
rows = 8

[chip]
part = "WS2812B"

[wiring]
start = "top-left"      # the first LED, seen from the front
along = "rows"
path = "serpentine"
```

Columns run right and rows run down, both from 0, seen from the front. LEDs count from 0 along their
line, in the order of the data. A key that you leave out has its default; "–" means that it depends
on other keys (in `[chip]`, on the part) or stays unset. An unknown key is an error that names its
line and the nearest key.

The wiring is one of three: the words of `[wiring]`; one `[[line]]` a controller output with its
`[[line.run]]`; or `map` in `[wiring]`, a CSV file with the columns `line,led,column,row`.

An LED without a cell is a hidden LED: a first one that only shifts the level of the data, spares at
the end of a line, LEDs at a turn or behind the frame. Say where they are (`hidden_first` and the
like; `hidden_leds` of a gap). They count on the wire, take time and current, and stay dark.
"""


def display_file_reference() -> str:
    """The page in Markdown: one table a section, in the order of the schema."""
    schema = DisplayFile.model_json_schema(by_alias=True)
    pages = [_HEAD, _table("The top of the file", schema, schema)]
    for name, heading, field in _sections(schema, schema, ""):
        pages.append(_table(heading, schema["$defs"][name], schema, field))
    return "\n".join(pages)


def _sections(
    model: dict[str, Any], schema: dict[str, Any], path: str
) -> list[tuple[str, str, str]]:
    """(definition, heading in TOML, what the field says of it) of each section below a model."""
    found = []
    for key, field in model["properties"].items():
        name, many = _section_of(field)
        if name is None:
            continue
        full = f"{path}.{key}" if path else key
        heading = f"`[[{full}]]`" if many else f"`[{full}]`"
        found.append((name, heading, field.get("description", "")))
        found += _sections(schema["$defs"][name], schema, full)
    return found


def _section_of(field: dict[str, Any]) -> tuple[str | None, bool]:
    for one in (field, *field.get("anyOf", ())):
        many = one.get("type") == "array"
        ref = one.get("items", {}).get("$ref") if many else one.get("$ref")
        if ref:
            return ref.rpartition("/")[2], many
    return None, False


def _table(heading: str, model: dict[str, Any], schema: dict[str, Any], field: str = "") -> str:
    needed = model.get("required", ())
    rows = [
        f"| `{key}` | {_default(entry, key in needed)} | {_allowed(entry)} |"
        f" {_cell(entry.get('description', ''))} |"
        for key, entry in model["properties"].items()
        if _section_of(entry)[0] is None
    ]
    table = (
        ["| key | default | allowed | what it says |", "|---|---|---|---|", *rows] if rows else []
    )
    about = "" if model is schema else _cell(model.get("description", ""))
    if field:
        about += f" ({_cell(field)})"
    return "\n".join([f"## {heading}", "", *([about, ""] if about else []), *table, ""])


def _default(entry: dict[str, Any], needed: bool) -> str:
    if needed:
        return "needed"
    value = entry.get("default")
    if value in (None, "", []):
        return "–"
    if isinstance(value, float):
        return f"`{value:.6g}`"
    return f"`{json.dumps(value, ensure_ascii=False)}`"


def _allowed(entry: dict[str, Any]) -> str:
    kinds = [k for k in entry.get("anyOf", [entry]) if k.get("type") != "null"]
    return _cell(" or ".join(_one_allowed(kind) for kind in kinds))


def _one_allowed(kind: dict[str, Any]) -> str:
    if "enum" in kind:
        return ", ".join(f"`{json.dumps(one)}`" for one in kind["enum"])
    if kind["type"] == "array":
        least, most = kind.get("minItems"), kind.get("maxItems")
        count = f"{least} × " if least and least == most else "list of "
        return count + _one_allowed(kind["items"] if "items" in kind else kind["prefixItems"][0])
    word = {
        "integer": "whole number",
        "number": "number",
        "string": "text",
        "boolean": "`true`, `false`",
        "object": "table",
    }
    limits = [
        text.format(_number(kind[key]))
        for key, text in (
            ("minimum", "from {}"),
            ("exclusiveMinimum", "above {}"),
            ("maximum", "up to {}"),
            ("exclusiveMaximum", "below {}"),
        )
        if key in kind
    ]
    return " ".join([word[kind["type"]], ", ".join(limits)]).strip()


def _number(value: float) -> str:
    return f"{value:,.10g}"


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")
