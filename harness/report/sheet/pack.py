"""The whole bench pack as pages."""

from __future__ import annotations

from collections.abc import Mapping

from emulator.description.display import Display
from harness.report.sheet.ends import ends_pages
from harness.report.sheet.flow import Flow, numbered
from harness.report.sheet.labels import label_pages
from harness.report.sheet.lists import check_pages, list_pages, summary_page
from harness.report.sheet.page import PAPERS, Page
from harness.report.sheet.parts import Shopping
from harness.report.sheet.template import template_pages
from harness.report.sheet.views import detail_page, view_pages
from harness.report.sheet.volts import Expected


def bench_pack(
    display: Display,
    paper: str = "A4",
    prices: Mapping[str, float] | None = None,
    *,
    template: bool = True,
) -> list[Page]:
    """Drawings, lists, check-off list, template and labels of a display.

    paper: 'A4' or 'Letter'. prices: of parts, by the keys of `parts.PRICED`. template: with the
    template at 1:1, which takes many pages.
    """
    geometry, expected = display.geometry, Expected(display)
    shopping = Shopping(display, geometry, expected)
    flow = Flow(PAPERS[paper], display.name)
    summary_page(flow, shopping)
    view_pages(flow, display, geometry, expected.fuses)
    detail_page(flow, display, geometry)
    ends_pages(flow, display, geometry)
    list_pages(flow, shopping, prices or {})
    check_pages(flow, shopping)
    if template:
        template_pages(flow, display, geometry)
    label_pages(flow, display, shopping.wires)
    numbered(flow.pages, f"{display.name}, bench pack")
    return flow.pages
