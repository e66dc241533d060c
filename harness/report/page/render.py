"""Writes a page as HTML: one file with its own style, script and data, and a strict policy."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jinja2
import numpy as np
from markupsafe import Markup

from emulator.arrays import Floats
from emulator.files import MARK
from emulator.plaintext import clean
from harness.report.findings import SIGNS
from harness.report.page.page import MARKS, Chart, Page

BROWSER = Path(__file__).parent / "browser"
# In the order of their imports; inlined as one script.
SCRIPTS = ("film", "pace", "find", "wall", "chart", "player", "map", "page")
_SPANS = 500  # of a curve, each drawn with its extremes
# In JSON inside a script element: what HTML, or an old parser of scripts, would act on.
_ACTED_ON = {ord(c): f"\\u{ord(c):04x}" for c in "<>&\u2028\u2029"}


def page_html(page: Page) -> str:
    """The page as HTML. Every text from outside is cleaned and escaped."""
    style = (BROWSER / "page.css").read_text("utf-8")
    script, data = bundle(), page_data(page)
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(BROWSER),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: value if isinstance(value, Markup) else clean(str(value)),
    )
    return environment.get_template("page.html").render(
        page=page,
        generator=MARK,
        policy=policy(style, script),
        style=Markup(style),
        script=Markup(script),
        data=Markup(data_json(data)),
        films=data["films"],
        marks=MARKS,
        signs=SIGNS,
        png=lambda image: f"data:image/png;base64,{base64.b64encode(image).decode()}",
    )


def bundle() -> str:
    """The modules of the page's script as one script, without imports and exports."""
    parts = [(BROWSER / f"{name}.js").read_text("utf-8") for name in SCRIPTS]
    text = "\n".join(re.sub(r"^import [^;]*;\n", "", part, flags=re.MULTILINE) for part in parts)
    text = re.sub(r"^export ", "", text, flags=re.MULTILINE)
    return f'"use strict";\n(() => {{\n{text}}})();\n'


def policy(style: str, script: str) -> str:
    """The Content-Security-Policy: this style, this script, pictures in the file, nothing else."""
    style_hash, script_hash = (
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        for text in (style, script)
    )
    return (
        f"default-src 'none'; script-src 'sha256-{script_hash}'; style-src 'sha256-{style_hash}';"
        " img-src data:; base-uri 'none'; form-action 'none'"
    )


def data_json(data: Any) -> str:
    """JSON that can stand in a script element, whatever its texts are."""
    text = json.dumps(_cleaned(data), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.translate(_ACTED_ON)


def page_data(page: Page) -> dict[str, Any]:
    """What the script draws, as JSON types."""
    return {
        "walls": list(page.walls),
        "found": [list(one.leds) for one in page.found],
        "films": [film.packed() for film in page.films],
        "failed": [
            {"wall": wall, "films": list(one.films), "cell": one.cell} for one, wall in page.failed
        ],
        "charts": [_chart(chart) for part in page.sections for chart in part.charts],
        "volts": None if page.volts is None else np.round(page.volts, 3).tolist(),
    }


def _chart(chart: Chart) -> dict[str, Any]:
    return {
        "title": chart.title,
        "xUnit": chart.x_unit,
        "yUnit": chart.y_unit,
        "zero": chart.zero,
        "limits": [[_short(value), label] for value, label in chart.limits],
        "marks": [[_short(x), label] for x, label in chart.marks],
        "spans": [[_short(a), _short(b), label] for a, b, label in chart.spans],
        "series": [
            {"name": one.name, "step": one.step, "x": list(xs), "y": list(ys)}
            for one in chart.series
            for xs, ys in [_points(one.x, one.y)]
        ],
    }


def _points(x: Floats, y: Floats) -> Iterator[list[float]]:
    """All points, or the smallest and largest of equal spans of a long curve."""
    numbers = np.arange(len(y))
    if len(y) > 4 * _SPANS:
        spans = np.array_split(numbers, _SPANS)
        ends = {0, len(y) - 1}
        kept = ends.union(*({s[y[s].argmin()], s[y[s].argmax()]} for s in spans))
        numbers = np.array(sorted(kept))
    for values in (x, y):
        yield [_short(value) for value in np.asarray(values)[numbers].tolist()]


def _short(value: float) -> float:
    return float(f"{value:.5g}")


def _cleaned(data: Any) -> Any:
    """The same data with every text cleaned."""
    if isinstance(data, str):
        return clean(data)
    if isinstance(data, dict):
        return {key: _cleaned(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_cleaned(value) for value in data] if _has_text(data) else data
    return data


def _has_text(values: list[Any]) -> bool:
    return any(not isinstance(value, int | float) for value in values)
