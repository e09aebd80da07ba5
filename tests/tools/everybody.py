"""What on an open page is in the way of anybody: WCAG 2.2 AA as far as axe-core can see it, in every width and theme.

A page is opened once and looked at from all sides, and it is given axe-core once: a browser reads its half a million
characters for longer than it takes to judge the page.
"""

import json
from collections.abc import Sequence

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

WIDTHS = (1280, 390)
"""Pixels of a screen and of a phone."""
THEMES = ("light", "dark")
ASKED = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"], "resultTypes": ["violations"]}
JUDGE = f"""() => axe.run({json.dumps(ASKED)}).then(found => found.violations.map(
  one => one.id + ": " + one.nodes.slice(0, 3).map(node => node.html.slice(0, 160)).join(" | ")))"""
"""What is broken and where, in a line for each rule. The rest of axe's report, which is long, stays in the browser."""


def faults(
    page: Page,
    where: str,
    *,
    widths: Sequence[int] = WIDTHS,
    themes: Sequence[str] = THEMES,
    folded_out: bool = False,
) -> list[str]:
    """A line for every fault: a page wider than its screen, or a rule of WCAG 2.2 AA that is broken."""
    page.wait_for_load_state("load")
    if folded_out:
        page.evaluate("document.querySelectorAll('main details').forEach(d => { d.open = true })")
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found = []
    for width in widths:
        page.set_viewport_size({"width": width, "height": 850})
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            found.append(f"{where}, {width} px: {wide} px wide")
        for theme in themes:
            page.emulate_media(color_scheme="light" if theme == "light" else "dark")
            found += [f"{where}, {width} px, {theme}: {line}" for line in page.evaluate(JUDGE)]
    return found
