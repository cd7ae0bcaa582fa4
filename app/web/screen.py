"""How this tablet shows the sheet: light, sizes, hand, number keys. Kept on the device: the sun is where it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import Blueprint, make_response, redirect, render_template, request, url_for

from app.web import access
from app.web.access import ANYONE, allow

bp = Blueprint("screen", __name__)


@dataclass(frozen=True)
class Choice:
    """One thing that is chosen for the device. The first word is what stands until somebody chooses."""

    cookie: str
    asks: str
    words: tuple[tuple[str, str, str], ...]  # word, how it is shown, what it is for

    def of(self, given: str | None) -> str:
        """The word that the cookie holds, or the first."""
        known = [word for word, _, _ in self.words]
        return given if given in known else known[0]


CHOICES = (
    Choice("theme", "Light", (
        ("indoor", "Indoor", "halls and control room"), ("sun", "Sun", "outdoors, black on white"),
        ("night", "Night", "dark, easy on eyes that must see in the dark"))),
    Choice("sizes", "Sizes", (
        ("glove", "Glove", "large controls, wide gaps"), ("bare", "Bare hand", "more on the screen at once"))),
    Choice("hand", "Hand that taps", (
        ("right", "Right", "Save and number keys on the right"), ("left", "Left", "Save and number keys on the left"))),
    Choice("keys", "Number keys", (
        ("ours", "Large keys", "on the page: digits, comma, point, minus"),
        ("tablet", "The tablet's own", "its own keyboard comes up"))),
)


def chosen() -> dict[str, str]:
    """What this device shows: cookie -> word, for every page."""
    return {choice.cookie: choice.of(request.cookies.get(choice.cookie)) for choice in CHOICES}


@bp.get("/screen")
@allow(ANYONE)
def page() -> Any:
    onward = access.local_path(request.args.get("next"))
    return render_template("screen/page.html", choices=CHOICES, now_chosen=chosen(), next=onward)


@bp.get("/screen/<name>")
@allow(ANYONE)
def choose(name: str) -> Any:
    """Keeps one choice on the device and goes back; a word that is none changes nothing."""
    onward = access.local_path(request.args.get("next"))
    back = url_for(".page", next=onward) if request.args.get("stay") else onward
    answer = make_response(redirect(back))
    for choice in CHOICES:
        if name in [word for word, _, _ in choice.words]:
            access.set_cookie(answer, choice.cookie, name, 24 * 365)
    return answer
