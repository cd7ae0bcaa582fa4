"""The form at the motor read twice: by the script that keeps the entry on the tablet, and by the server's own form.
Both make the same body of the same taps, or find the same wrong at the same field."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page
from werkzeug.datastructures import MultiDict
from wtforms import RadioField

from app import entries
from app.db import Database
from app.rules import facts
from app.store.motors import Motor
from app.store.units import Unit
from app.web.entry_form import COULD_NOT, LOOK, EntryForm, Figure, without_empty
from tests.factories import NOW, Plant

MANY = 600
TYPED = ("78", "24,8", "12.5", "0", "-3", "−5", ".5", "87.", "200", "200.01", "11", "11.01", "5000", "5000.1", "1,234",
         "0,125", "12.3456", "abc", "1.2.3", "1234567890123", "999999", "158", "752", "752.1", "932", "-76", "-76.1",
         " 90 ")
TIMES = ("07:12", "7.5", "23:59", "24:00", "7:60", "0:00", "06:05", "7:1", "half past", "07:13")
REMARKS = ("hums", "  two\nlines \t", "a\u0007bell", "e\u0301", "quiet 🙂", "x" * 2001, "\u0000")


def sensible(dice: random.Random) -> list[tuple[str, str]]:
    """A running motor as somebody enters it who is in no two minds."""
    figures = {name: dice.choice(("78", "24,8", "12.5", ".5", " 9,25")) for name in dice.sample(
        ("bearing_temp_DE", "bearing_temp_ODE", "winding_temp", "amps_1", "volts_1", "vibration_DE", "ambient"), 3)}
    return [("state", "running"), ("look", dice.choice([word for word, _ in LOOK])), *figures.items(),
            ("bearing_feel_DE", dice.choice(entries.TEMPERATURE_WORDS)), ("remarks", dice.choice(REMARKS[:5])),
            ("vibration_both", "not"), ("vibration_feel_ODE", dice.choice(entries.VIBRATION_WORDS[1:])),
            ("lubricant_both", "ok"), ("seen_at", dice.choice(("", "7.5", "0:00", "07:13")))]


def taps(dice: random.Random) -> list[tuple[str, str]]:
    """What a form may hold: sensible, or at odds with itself."""
    if dice.random() < 0.4:
        return sensible(dice)
    state = dice.choice(("running", "running", "running", *facts.STATES, ""))
    pairs = [("state", state)] if state else []
    ordered = [word for word, _ in LOOK]
    pairs += [("look", word) for word in dice.sample(ordered, dice.choice((0, 1, 1, 1, 2, 3)))]
    form = EntryForm(None, Motor(tag="P-101A"), Unit(temperature="C", vibration="mm/s", power="hp", grease="g"), NOW)
    chosen = [f for f in form if isinstance(f, RadioField) and f.name != "state"]
    if dice.random() < 0.7:
        chosen = dice.sample(chosen, dice.randrange(8))
    pairs += [(f.name, dice.choice([str(c.value) for c in f.choices])) for f in chosen]
    figures = [f for f in form if isinstance(f, Figure)]
    pairs += [(f.name, dice.choice(TYPED)) for f in dice.sample(figures, dice.choice((0, 1, 2, 3, 8)))]
    if dice.random() < 0.4:
        pairs += [(f"{kind}_{i}", dice.choice(("78", "80,5", "460"))) for kind in ("amps", "volts") for i in (1, 2, 3)]
    pairs += [("amps_unread", word) for word in COULD_NOT if dice.random() < 0.1]
    pairs += [("seen_at", dice.choice(TIMES))] if dice.random() < 0.3 else []
    pairs += [("remarks", dice.choice(REMARKS))] if dice.random() < 0.3 else []
    return [(name, word) for name, word in dict(pairs).items() if name not in ("look", "amps_unread")] + [
        pair for pair in pairs if pair[0] in ("look", "amps_unread")]


def by_form(pairs: list[tuple[str, str]], motor: Motor, unit: Unit) -> dict[str, Any]:
    form = EntryForm(MultiDict(pairs), motor, unit, NOW)
    if not form.validate():
        return {"problems": sorted((f.name, str(says)) for f in form for says in f.errors)}
    body, typed = form.body("an id", "operator")
    body["taken_at"] = datetime.fromisoformat(body["taken_at"]).timestamp()
    return {"body": without_empty(body), "typed": typed}


def by_script(page: Page, cases: list[list[tuple[str, str]]], about: dict[str, Any]) -> list[dict[str, Any]]:
    told: list[dict[str, Any]] = page.evaluate("""async ([cases, about, now]) => {
      const { readingBody } = await import("/static/js/offline/body.js");
      return JSON.parse(cases).map((pairs) => {
        const data = new FormData();
        for (const [name, value] of pairs) data.append(name, value);
        const { body, typed, problems } = readingBody(data, about, "an id", now);
        if (problems.length) return { problems: problems.map(({ field, says }) => [field, says]) };
        return { body: { ...body, taken_at: Date.parse(body.taken_at) / 1000 }, typed };
      });
    }""", [json.dumps(cases), about, NOW.timestamp() * 1000])
    return [{"problems": sorted(map(tuple, each["problems"]))} if "problems" in each else each for each in told]


@pytest.mark.parametrize("shown", [("C", "mm/s"), ("F", "in/s")], ids=["°C and mm/s", "°F and in/s"])
def test_script_and_form_read_the_same(shown: tuple[str, str], plant: Plant, app_database: Database,
                                       new_context: Callable[..., BrowserContext]) -> None:
    page, dice = new_context().new_page(), random.Random(712)
    page.goto("/sign-in")
    with app_database.writing() as session:
        unit, motor = session.get_one(Unit, plant.unit.id), session.get_one(Motor, plant.motor.id)
        unit.temperature, unit.vibration = shown
        form = EntryForm(None, motor, unit, NOW)
        kinds = [kind for kind in entries.PLAUSIBLE if kind not in ("grams", "duration_s")]
        about = {"ranges": {kind: form.range_of(kind) for kind in kinds}, "by": "operator",
                 "motor": {"id": motor.id, "tag": motor.tag}, "zone": unit.time_zone}
        cases = [taps(dice) for _ in range(MANY)]
        expected = [by_form(pairs, motor, unit) for pairs in cases]
    said = by_script(page, cases, about)
    differs = [each for each in zip(cases, expected, said, strict=True) if each[1] != each[2]]
    assert not differs, f"{len(differs)} of {MANY}: {differs[0]}"
    assert MANY / 10 < sum("body" in each for each in expected) < MANY
