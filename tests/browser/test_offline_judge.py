"""The script that judges at the motor without a network says what the rules say when the entry is received, to the
letter: the same facts and the same reading go through both, in one page.

Expected values are the rules' own here; that these are right is what tests/rules checks beside its sources.
"""

from __future__ import annotations

import gzip
import itertools
import json
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from app import entries
from app.db import Database
from app.entries import read_reading
from app.offline_facts import judge_facts
from app.recording import Sender, record_reading
from app.rules import facts as f
from app.rules import findings, sheet, wording
from app.rules.cautions import CAUTIONS, GENERAL
from app.rules.facts import Ends, Facts, LubricationPoint, Motor, Nameplate, Show
from app.rules.limits import DEFAULTS, Limits
from app.rules.limits_in_force import limits_in_force, scales
from app.rules.rule_table import AT_THE_MOTOR, LATER, SHAPE, rule_table
from app.store import rounds
from app.store.limits import change_limit
from app.store.people import Person
from app.store.units import Unit
from tests.browser.conftest import sign_in_page
from tests.entering import reading_body
from tests.factories import LONG_AGO, NOW, Plant, make_motor
from tests.rules.plant import LIMITS, MOTOR, PLATE

SHOWS = (Show(), Show("F", "in/s", "oz", "kW"), Show("F"), Show(vibration="in/s"))
MANY = 1500


@dataclass(frozen=True)
class Case:
    """One reading's body as it is sent, of one motor under its limits."""

    body: dict[str, Any]
    motor: Motor = MOTOR
    condition: str | None = f.RUNNING
    limits: Limits = LIMITS
    show: Show = SHOWS[0]

    def for_script(self) -> dict[str, Any]:
        return {"facts": {**limits_in_force(self.motor, self.condition, self.limits), "shape": SHAPE,
                          "show": scales(self.show)}, "body": self.body}

    def by_rules(self) -> list[dict[str, Any]]:
        """Through the reader and the row that is stored, as the server takes it."""
        entry = read_reading({"id": "00000000-0000-4000-8000-000000000000", "tag": self.motor.tag, "by": "operator",
                              "taken_at": NOW.isoformat(), **self.body})
        row = rounds.Reading(taken_at=NOW, condition_before=self.condition, person_id=1, **entry.columns)
        given = Facts(self.motor, NOW, row.as_facts(), walked=not row.skipped, show=self.show)
        return [dict(vars(found)) for found in sheet.judge_at_the_motor(given, self.limits)]


# the plants ------------------------------------------------------------------------------------------------

PLATES = [
    PLATE, replace(PLATE, rated_amps=None), replace(PLATE, service_factor_amps=99.0),
    replace(PLATE, service_factor_amps=80.0), replace(PLATE, service_factor=1.0), replace(PLATE, service_factor=None),
    replace(PLATE, volts=None), replace(PLATE, hp=20.0), replace(PLATE, hp=500.0, mounting="flexible"),
    replace(PLATE, hp=None, mounting=None), replace(PLATE, mounting="springs"),
    replace(PLATE, bearing=Ends("Sleeve", "6313")), replace(PLATE, bearing=Ends()), Nameplate(),
    replace(PLATE, rated_amps=2500.0, volts=4160.0, hp=5000.0, insulation_class="H", service_factor=1.0),
    *(replace(PLATE, insulation_class=letter, service_factor=factor)
      for letter in ("A", "B", "E", "F", "H", "N", "b ", "?", None) for factor in (1.0, 1.15)),
]
POINTS = (None, LubricationPoint(kind="sealed"), LubricationPoint(kind="oil"))
METERS: list[dict[str, Any]] = [
    {"ammeter": "one"}, {"ammeter": "three"}, {"ammeter": "none"}, {"ammeter": None},
    {"ammeter": "control room", "by_control_room": frozenset({"current_a"})},
    {"by_control_room": frozenset({"bearing_temp_c", "winding_temp_c"})},
    {"by_control_room": frozenset({"bearing_temp_c.DE", "vibration_mm_s.ODE"})}]
FEELS = (None, "cool", "warm", "hot", "too hot to hold", "could not feel")


def motors(dice: random.Random) -> Motor:
    return replace(MOTOR, nameplate=dice.choice(PLATES), accepted_normal_feel=dice.choice(FEELS),
                   lubrication=Ends(dice.choice(POINTS), dice.choice(POINTS)),
                   **{"by_control_room": frozenset(), **dice.choice(METERS)})


def changed_limits(dice: random.Random) -> Limits:
    """Now and then a unit has set limits of its own, odd figures and all."""
    if dice.random() < 0.6:
        return Limits()
    names = dice.sample(sorted(DEFAULTS), 25)
    return Limits({name: (round(dice.uniform(DEFAULTS[name].low, DEFAULTS[name].high), dice.choice((0, 1, 3))),
                          dice.choice(("unit's limit", "this motor's limit"))) for name in names})


# the readings ----------------------------------------------------------------------------------------------

#: Ranges in which something may be found; a figure lies anywhere in them, or a hair beside a limit.
RANGES = {"bearing_temp_c": (50.0, 120.0), "winding_temp_c": (90.0, 200.0), "vibration_mm_s": (0.0, 13.0),
          "current_a": (60.0, 130.0), "voltage_v": (380.0, 540.0)}
NEAR = (-1e-3, -1e-6, -4e-7, 0.0, 4e-7, 5e-7, 1e-6, 1e-3, 0.04, 0.05, 0.06)
#: Halves that a decimal text may round either way.
TIES = (0.5, 0.25, 0.125, 2.25, 2.75, 90.25, 90.125, 100.0625, 1250.5, 0.0078125, 4.50390625)


def figure(dice: random.Random, field: str, limits: Limits) -> float:
    low, high = RANGES[field]
    way = dice.random()
    if way < 0.35:
        return round(dice.uniform(low, high), dice.choice((0, 1, 2, 4)))
    if way < 0.55:
        return dice.uniform(low, high)
    if way < 0.65:
        return min(dice.choice(TIES), entries.PLAUSIBLE[field][1])
    near = [limits.value(name) for name in DEFAULTS if low <= limits.value(name) <= high]
    near += [each for each in (87.0, 95.7, 100.05, 460.0, 506.0, 414.0) if low <= each <= high]
    return max(0.0, dice.choice([*near, high]) + dice.choice(NEAR))


def answer(dice: random.Random, field: str, value: Callable[[], Any]) -> Any:
    """A value, a reason, a null, or nothing at all (…)."""
    way = dice.random()
    return value() if way < 0.7 else dice.choice(entries.NO_VALUE) if way < 0.8 else None if way < 0.85 else ...


def body(dice: random.Random, limits: Limits) -> dict[str, Any]:
    sent: dict[str, Any] = {"state": dice.choice((*f.STATES, f.RUNNING, f.RUNNING, f.RUNNING, f.RUNNING))}
    for name, words in entries.WORDS.items():
        sent[name] = answer(dice, name, lambda words=words: dice.choice(words))
    for name, words in entries.WORDS_BY_END.items():
        sent[name] = answer(dice, name, lambda name=name, words=words: ends(dice, name, lambda: dice.choice(words)))
    for name in entries.NUMBERS_BY_END:
        sent[name] = answer(dice, name, lambda name=name: ends(dice, name, lambda: figure(dice, name, limits)))
    sent["winding_temp_c"] = answer(dice, "winding_temp_c", lambda: figure(dice, "winding_temp_c", limits))
    sent["winding_method"] = dice.choice((None, *entries.WINDING_METHODS))
    for name in entries.PHASES:
        count = dice.choice((1, 3, 3))
        sent[name] = answer(dice, name, lambda name=name, count=count: phases(dice, name, count, limits))
    if dice.random() < 0.04:
        sent["skip_reason"] = "could not reach it"
        sent["state"] = dice.choice((None, "running"))
    return {name: value for name, value in sent.items() if value is not ...}


def ends(dice: random.Random, name: str, value: Callable[[], Any]) -> dict[str, Any]:
    both = {end: answer(dice, name, value) for end in f.ENDS}
    return {end: each for end, each in both.items() if each is not ...}


def phases(dice: random.Random, name: str, count: int, limits: Limits) -> list[float]:
    """Even, uneven, or with a dead phase; integers come as integers."""
    first = figure(dice, name, limits)
    if dice.random() < 0.5 and count == 3:
        return [first, first * dice.uniform(0.8, 1.2), first * dice.choice((0.0, 0.0499999, 0.05, 0.97, 1.0, 1.03))]
    return [dice.choice((first, round(first), figure(dice, name, limits))) for _ in range(count)]


def by_chance() -> Iterator[Case]:
    dice = random.Random(20261124)
    for _ in range(MANY):
        limits = changed_limits(dice)
        yield Case(body(dice, limits), motors(dice), dice.choice((None, *f.STATES)), limits, dice.choice(SHOWS))


OFF = (-1e-4, -1e-6, -4e-7, 0.0, 4e-7, 6e-7, 0.04, 0.3)


def at_each_limit() -> Iterator[Case]:
    """Every quantity just under, at and just over every figure that its rule compares with, in every unit shown."""
    for number, plate in enumerate(PLATES):
        motor = replace(MOTOR, nameplate=plate)
        told = limits_in_force(motor, f.RUNNING, Limits())
        for off in OFF:
            for seen in by_plate(told, off):
                yield Case({"state": f.RUNNING, **seen}, motor, show=SHOWS[number % len(SHOWS)])
    for show, off in itertools.product(SHOWS, OFF):
        told = limits_in_force(MOTOR, f.RUNNING, Limits())
        for seen in (*by_plate(told, off), *whatever_the_plate(told, off)):
            yield Case({"state": f.RUNNING, **seen}, show=show)


def by_plate(told: dict[str, Any], off: float) -> Iterator[dict[str, Any]]:
    for most, _ in list(told["amps"].values())[1:] if told["amps"] else []:
        yield {"current_a": [most + off]}
        yield {"current_a": [most, most + off, most]}
    for grade in ("limit", "alarm"):
        yield {"winding_temp_c": told["winding"]["probe"][grade][0] + off, "winding_feel": "hot"}
        yield {"winding_temp_c": told["winding"]["surface"][grade][0] + off, "winding_method": "infrared"}
    for end, grade in itertools.product(f.ENDS, ("shutdown", "alarm")):
        felt = f.TEMPERATURE_FEEL[3] if grade == "alarm" else "hot"
        yield {"bearing_temp_c": {end: told["hot"][end][grade][0] + off}, "bearing_feel": {end: felt}}
    for (zone, _), felt in zip(told["vibration"].values(), ("rougher than usual", "severe"), strict=True):
        yield {"vibration_mm_s": {"DE": zone + off}, "vibration_feel": {"DE": felt}}


def whatever_the_plate(told: dict[str, Any], off: float) -> Iterator[dict[str, Any]]:
    for apart, _ in told["uneven"].values():
        yield {"bearing_temp_c": {"DE": 50.0 + apart + off, "ODE": 50.0}}
        yield {"bearing_temp_c": {"DE": 41.1, "ODE": 41.1 + apart + off}, "bearing_feel": {"DE": "hot", "ODE": "warm"}}
    for percent, _ in told["phases"].values():
        yield {"current_a": [50.0, 50.0, (percent + off) / 2]}
        yield {"current_a": [100.0 + percent + off, 100.0, 100.0 - percent - off]}
    for percent, _ in (told["volts"]["level"], *told["volts"]["uneven"].values()):
        yield {"voltage_v": [460.0 * (1 + (percent + off) / 100)]}
        yield {"voltage_v": [460.0, 460.0, 460.0 * (1 - (percent + off) / 66.6)]}
        yield {"voltage_v": [500.0 + 5 * (percent + off), 500.0, 500.0 - 5 * (percent + off)]}


def each_word() -> Iterator[Case]:
    """Every word at every place, in every state, and every pair of feel grades beside every accepted normal."""
    for state, words in itertools.product(f.STATES, (entries.WORDS, entries.WORDS_BY_END)):
        for name, known in words.items():
            for word in (*known, *entries.NO_VALUE, None):
                whole = words is entries.WORDS or word in entries.NO_VALUE
                yield Case({"state": state, name: word if whole else {"DE": word}})
                if words is entries.WORDS_BY_END:
                    yield Case({"state": state, name: {"DE": word, "ODE": known[-1]}})
                    yield Case({"state": state, name: {"ODE": word}}, condition=f.LOCKED_OUT)
    for de, ode, normal in itertools.product(FEELS, FEELS, FEELS):
        motor = replace(MOTOR, accepted_normal_feel=normal)
        yield Case({"state": f.RUNNING, "bearing_feel": {"DE": de, "ODE": ode}, "winding_feel": de}, motor)
    for guard, ground, leak in itertools.product((None, *f.IN_PLACE), (None, *f.IN_PLACE), (None, *f.LEAK)):
        yield Case({"state": f.STANDBY, "guard": guard, "ground": ground, "leak": leak})


def each_answer_missing() -> Iterator[Case]:
    """Every set of checks that may be left out, at every meter and chart."""
    given: dict[str, Any] = {
        "smoke": "none", "guard": "in place", "ground": "in place",
        "vibration_feel": {"DE": "as usual", "ODE": "as usual"},
        "bearing_temp_c": {"DE": 60.0, "ODE": "could not read"}, "winding_feel": "could not feel", "current_a": [78],
        "lubricant": {"DE": "ok", "ODE": "ok"}, "cleanliness": "clean"}
    for left in range(2 ** len(given)):
        meter, points = METERS[left % len(METERS)], (POINTS[left % 3], POINTS[left // 3 % 3])
        kept = {name: value for i, (name, value) in enumerate(given.items()) if not left >> i & 1}
        motor = replace(MOTOR, lubrication=Ends(*points), **meter)
        yield Case({"state": (f.RUNNING, f.STANDBY)[left % 2], **kept}, motor)
        yield Case({"state": f.RUNNING, **kept, "lubricant": {"ODE": "not fitted"}, "vibration_feel": {"DE": "severe"}},
                   motor)


# both sides ------------------------------------------------------------------------------------------------


@pytest.fixture
def script(new_context: Callable[..., BrowserContext]) -> Page:
    """An empty page of the app's own with the script in it."""
    page = new_context().new_page()
    page.goto("/sign-in")
    page.evaluate("""async (table) => {
      globalThis.judging = await import("/static/js/offline/judge.js");
      globalThis.figures = await import("/static/js/offline/figures.js");
      globalThis.table = table;
    }""", json.loads(json.dumps(rule_table())))
    return page


def by_script(page: Page, cases: list[Case]) -> list[list[dict[str, Any]]]:
    told: list[list[dict[str, Any]]] = page.evaluate(
        "(text) => JSON.parse(text).map(({facts, body}) => judging.judge({...facts, table}, body))",
        json.dumps([case.for_script() for case in cases]))
    return told


@pytest.mark.parametrize("cases", [by_chance, at_each_limit, each_word, each_answer_missing],
                         ids=["by chance", "at each limit", "each word", "each answer missing"])
def test_script_and_rules_find_the_same(script: Page, cases: Callable[[], Iterator[Case]]) -> None:
    given = list(cases())
    found = by_script(script, given)
    differs = [(case, rules, said) for case, said in zip(given, found, strict=True)
               if (rules := case.by_rules()) != said]
    assert not differs, f"{len(differs)} of {len(given)}, first: {differs[0]}"
    assert sum(map(len, found)) > len(given) / 4, "cases in which nothing is found prove little"


def test_figures_are_written_and_compared_to_the_digit(script: Page) -> None:
    dice = random.Random(24)
    values = [*TIES, -0.04, 0.0, -0.0, 1e-7, 1234567.25, 999.95, 1e5 + 0.5]
    values += [dice.choice((1.0, -1.0)) * round(dice.uniform(0, 5000), dice.randrange(8)) for _ in range(400)]
    values += [dice.randrange(200_000) / 2 ** dice.randrange(1, 12) for _ in range(400)]  # many end in a bare half
    pairs = [(a, a + dice.choice(NEAR)) for a in values]
    scales_of = [wording.Scale("x", places) for places in (0, 1, 2)]
    said = script.evaluate(
        """(pairs) => pairs.map(([a, b]) => [[0, 1, 2, 6].map((n) => figures.digits(a, n)), figures.over(a, b),
           figures.under(a, b), [0, 1, 2].map((n) => figures.pair(a, b, figures.plain("x", n)))])""",
        [list(pair) for pair in pairs])
    for (a, b), told in zip(pairs, said, strict=True):
        assert told == [[wording.digits(a, n) for n in (0, 1, 2, 6)], findings.over(a, b), findings.under(a, b),
                        [list(wording.pair(a, b, scale)) for scale in scales_of]], (a, b)


# what is not judged here -----------------------------------------------------------------------------------


def received(page: Page, table: dict[str, Any] | None, shape: int = SHAPE) -> Any:
    return page.evaluate("([table, shape]) => judging.judgedWhenReceived({shape, table})", [table, shape])


def test_the_script_judges_every_rule_of_the_table_and_names_those_that_need_history(script: Page) -> None:
    assert received(script, rule_table()) == [name for names in LATER.values() for name in names]


def test_a_rule_that_the_script_lacks_is_named_for_later_and_the_others_are_judged(script: Page) -> None:
    newer = {**rule_table(), "rules": ["bearing_sings", *rule_table()["rules"]]}
    assert received(script, newer)[0] == "bearing_sings"
    case = Case({"state": f.STANDBY, "smoke": "seen", "guard": "in place", "ground": "in place", "cleanliness": "clean",
                 "lubricant": {"DE": "ok", "ODE": "ok"}})
    found = script.evaluate("([{facts, body}, table]) => judging.judge({...facts, table}, body)",
                            [case.for_script(), newer])
    assert [each["rule"] for each in found] == ["smoke"]


def test_without_the_table_or_with_one_it_cannot_read_the_script_says_nothing(script: Page) -> None:
    given = Case({"state": f.RUNNING, "smoke": "seen"}).for_script()
    for table, shape in ((None, SHAPE), ({**rule_table(), "shape": SHAPE + 1}, SHAPE), (rule_table(), SHAPE + 1)):
        facts = {**given["facts"], "table": table, "shape": shape}
        assert script.evaluate("([facts, body]) => judging.judge(facts, body)", [facts, given["body"]]) == []
    assert received(script, None) is None
    assert received(script, {**rule_table(), "shape": SHAPE + 1}) == rule_table()["rules"] + rule_table()["later"]


# the page's own data ---------------------------------------------------------------------------------------

#: A body that finds something at every kind of limit, by the units and limits below.
MUCH_WRONG: dict[str, Any] = {
    "smoke": "none", "guard": "loose", "current_a": [88.2, 90.0, 87.0], "bearing_temp_c": {"DE": 83.0, "ODE": 62.5},
    "vibration_mm_s": {"ODE": 3.4}, "winding_temp_c": 168.0, "winding_feel": "hot", "voltage_v": [510.0, 470.0, 455.0],
    "lubricant": {"DE": "low"}}


@pytest.fixture
def odd_motors(plant: Plant, app_database: Database) -> list[int]:
    """P-101A under a limit of its own; one with sleeves that is locked out; one of which hardly anything is known."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        unit.temperature, unit.vibration = "F", "in/s"
        change_limit(session, unit, "bearing_hot_grease_alarm_c", 80.0, "P-101A", "runs cool", None, LONG_AGO)
        change_limit(session, unit, "phase_unbalance_this_shift_percent", 2.0, None, "old cables", None, LONG_AGO)
        locked = make_motor(session, unit, "K</script>1", condition=f.LOCKED_OUT, hp=500.0,
                            plate={"de_bearing": "sleeve", "insulation_class": "F", "mounting": "flexible"})
        bare = make_motor(session, unit, "X-9", rated_amps=None, sf=None, hp=None, volts=None, greased=False,
                          ammeter="three", accepted_normal_feel="hot")
        session.commit()
        return [plant.motor.id, locked.id, bare.id]


def test_from_the_pages_own_data_the_script_says_what_the_server_says_on_receiving(
        page: Page, plant: Plant, app_database: Database, odd_motors: list[int]) -> None:
    sign_in_page(page, plant.operator)
    here = {name for names in AT_THE_MOTOR.values() for name in names}
    for motor_id in odd_motors:
        page.goto(f"/motors/{motor_id}/entry")
        carried = page.locator("#judge-facts").text_content() or ""
        assert len(gzip.compress(carried.encode())) < 1000
        facts = json.loads(carried)
        assert facts["shift"] == {"date": "2026-11-24", "name": "Day"} and facts["as_of"].startswith("2026-11-24T13:12")
        sent = {**reading_body(**MUCH_WRONG), "tag": facts["tag"]}
        said = page.evaluate("""async (body) => {
          const script = await import("/static/js/offline/judge.js");
          const facts = await script.factsOf(document);
          return [script.judge(facts, body), script.cautionFor(facts, "vibration"), script.cautionFor(facts, "none")];
        }""", sent)
        with app_database.writing() as session:
            unit = session.get_one(Unit, plant.unit.id)
            sender = Sender(unit, NOW, person=session.get_one(Person, plant.operator.id))
            answer = record_reading(session, sender, read_reading(sent))
            assert said[0] == [dict(vars(found)) for found in answer.findings if found.rule in here]
            session.rollback()
        assert len(said[0]) >= 6
        assert said[1:] == [CAUTIONS["vibration"], GENERAL]


def test_the_version_of_the_limits_changes_with_a_figure_and_not_with_time(
        plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        unit, motor = session.merge(plant.unit), session.merge(plant.motor)
        before = judge_facts(session, unit, motor, NOW)["limits_version"]
        assert judge_facts(session, unit, motor, NOW + timedelta(hours=3))["limits_version"] == before
        change_limit(session, unit, "bearings_uneven_this_shift_k", 9.0, None, "tighter", None, NOW)
        assert judge_facts(session, unit, motor, NOW)["limits_version"] != before
        assert judge_facts(session, unit, motor, NOW - timedelta(hours=1))["limits_version"] == before
