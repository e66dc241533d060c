"""Pages and drawings as Chromium shows them, with one font on every machine."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import matplotlib
from PIL import Image

from tests.chromium import started

_FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def _faces() -> str:
    """DejaVu Sans, which matplotlib contains, for all texts."""
    faces = ""
    for name, weight in (("DejaVuSans", 400), ("DejaVuSans-Bold", 700)):
        font = base64.b64encode((_FONTS / f"{name}.ttf").read_bytes()).decode()
        faces += (
            f"@font-face {{ font-family: 'DejaVu Sans'; font-weight: {weight};"
            f" src: url(data:font/ttf;base64,{font}) }}"
        )
    return faces + "* { font-family: 'DejaVu Sans' !important }"


def seen_in_chromium(html: str, wide: int, high: int) -> Image.Image:
    """The top of an HTML page, or of an SVG, in a window of so many pixels."""
    with started() as browser:
        # The page's own policy allows no style but its own.
        page = browser.new_page(
            viewport={"width": wide, "height": high}, bypass_csp=True, color_scheme="dark"
        )
        page.set_content(html)
        page.add_style_tag(content=f"{_faces()} body:has(> svg) {{ margin: 0 }}")
        page.evaluate("document.fonts.ready")
        page.wait_for_timeout(500)  # the page unpacks its patterns
        pixels = page.screenshot()
    return Image.open(io.BytesIO(pixels)).convert("RGB")
