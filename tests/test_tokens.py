"""Contrast of the tokens in every light, by WCAG 2.2: relative luminance, then (L1 + 0.05) / (L2 + 0.05).

Bounds: text 7:1 (success criterion 1.4.6), in the sun 12:1 (our own); edges and shapes 3:1 (1.4.11). The formula is
checked with the standard's own ends: black on white is 21:1, #777 on white is 4.48:1.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

TOKENS = (Path(__file__).parents[1] / "app" / "static" / "css" / "tokens.css").read_text("utf-8")
LIGHTS = ("indoor", "sun", "night")
#: what is written on what
TEXT = [*((ink, ground) for ink in ("ink", "ink-2") for ground in ("paper", "sheet", "fill")), ("pick-ink", "pick"),
        *((word, ground) for word in ("act", "shift", "watch") for ground in (f"{word}-bg", "sheet", "paper")),
        *(("ink", f"{word}-bg") for word in ("act", "shift", "watch"))]
EDGES = [(edge, ground) for edge in ("edge", "focus", "pick", "act", "shift", "watch") for ground in ("paper", "sheet")]


def colours(light: str) -> dict[str, str]:
    """Token -> its colour in this light; what a light does not set stays as at the top."""
    blocks = re.findall(r"([^{}]+)\{([^{}]*)\}", re.sub(r"/\*.*?\*/", "", TOKENS, flags=re.DOTALL))
    found: dict[str, str] = {}
    for selector, body in blocks:
        if ":root" in selector or f'[data-theme="{light}"]' in selector:
            found |= dict(re.findall(r"--([\w-]+):\s*(#[0-9a-fA-F]{3,6})\b", body))
    return found


def luminance(colour: str) -> float:
    digits = colour.lstrip("#")
    digits = "".join(2 * d for d in digits) if len(digits) == 3 else digits
    channels = [int(digits[i:i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_gives_what_the_standard_says() -> None:
    assert round(contrast("#000", "#fff"), 2) == 21.0
    assert round(contrast("#777777", "#ffffff"), 2) == 4.48  # WebAIM and the W3C's understanding of 1.4.3


@pytest.mark.parametrize("light", LIGHTS)
def test_words_and_edges_are_told_from_their_ground_in_every_light(light: str) -> None:
    shown = colours(light)
    least = 12.0 if light == "sun" else 7.0
    weak = [(a, b, round(contrast(shown[a], shown[b]), 2)) for a, b in TEXT if contrast(shown[a], shown[b]) < least]
    pale = [(a, b, round(contrast(shown[a], shown[b]), 2)) for a, b in EDGES if contrast(shown[a], shown[b]) < 3.0]
    assert (weak, pale) == ([], [])


def on_screen(style: str) -> str:
    """A style sheet without what is only for paper, which is ink on white whatever the screen."""
    parts = style.split("@media print")
    kept = [parts[0]]
    for part in parts[1:]:
        depth = 0
        for place, sign in enumerate(part):
            depth += (sign == "{") - (sign == "}")
            if sign == "}" and depth == 0:
                kept.append(part[place + 1:])
                break
    return "".join(kept)


def test_colours_live_in_the_tokens_alone() -> None:
    folder = Path(__file__).parents[1] / "app" / "static" / "css"
    named = {sheet.name: re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;\s,)])", on_screen(sheet.read_text("utf-8")))
             for sheet in folder.glob("*.css") if sheet.name not in ("tokens.css", "print.css")}
    assert {name: found for name, found in named.items() if found} == {}
