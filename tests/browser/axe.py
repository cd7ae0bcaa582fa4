"""What keeps somebody out of a page, by axe's rules, in each light that a screen may be set to.

The measure is WCAG 2.2 AA, and 7:1 for text (its 1.4.6) because of sun and night. Both rules of contrast are asked:
axe's stricter one tells only what AA's lets pass. A light changes colours alone (the tokens): all rules are asked in
one of them, contrast in each.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

from app.web.pages import THEMES

#: Findings of these weights are faults.
GRAVE = ("serious", "critical")
_CONTRAST = ["color-contrast", "color-contrast-enhanced"]
_EVERYTHING = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "rules": {rule: {"enabled": True} for rule in _CONTRAST}, "resultTypes": ["violations"]}
_CONTRAST_ALONE = {"runOnly": {"type": "rule", "values": _CONTRAST}, "resultTypes": ["violations"]}
_RUN = "options => axe.run(options).then(found => found.violations)"


def grave(page: Page) -> list[str]:
    """What is wrong with the page as it is shown."""
    return _found(page, _EVERYTHING)


def grave_in(light: str, page: Page) -> list[str]:
    """What is wrong in a light it is in, by every rule in the first of them."""
    return [f"{light}: {fault}" for fault in _found(page, _EVERYTHING if light == THEMES[0] else _CONTRAST_ALONE)]


def grave_in_any_light(page: Page) -> list[str]:
    return [fault for light in lights(page) for fault in grave_in(light, page)]


def lights(page: Page) -> Iterator[str]:
    """The page in one light after the other, as the choice on the screen's page sets it."""
    for light in THEMES:
        page.evaluate("light => { document.documentElement.dataset.theme = light }", light)
        yield light


def _found(page: Page, options: dict[str, Any]) -> list[str]:
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(AXE_SCRIPT)
    return [f"{v['id']}: {node['target']} {node['failureSummary']}" for v in page.evaluate(_RUN, options)
            if v["impact"] in GRAVE for node in v["nodes"]]
