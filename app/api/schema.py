"""The shapes that go in and out of the JSON door, as JSON Schema, made from the lists that the code itself works by."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from app import entries
from app.export.tables import NUMBER, TEXT
from app.export.week import COLUMNS
from app.rules import facts
from app.rules.findings import PRIORITIES
from app.store.lubrication import Greasing
from app.store.motors import LubricationPoint, Motor, Nameplate

Schema = dict[str, Any]

FLAG_STATES = ("active", "improving", "returned to normal", "shelved", "closed")
POSITION = ("tag", "service", "area", "route_order", "checked_every", "condition", "interlock", "ammeter",
            "standby_partner", "start_basis", "accepted_normal_feel", "written_starts_per_hour", "written_spacing_min",
            "written_run_min", "written_tries", "remarks")
PLATE = ("hp_stamped", "volts_stamped", "amps_stamped", "sfa_stamped", "hp", "connected_volts", "volts", "amps",
         "service_factor", "service_factor_amps", "phases", "hz", "rpm", "poles", "code_letter", "frame", "enclosure",
         "insulation_class", "ambient_c", "serial", "mounting", "load_wk2_lbft2", "de_bearing", "ode_bearing")
POINT = ("kind", "lubricant", "thickener", "grease_g", "interval_days", "interval_run_h")


# pieces ----------------------------------------------------------------------------------------------------


def shape(properties: dict[str, Schema], required: tuple[str, ...] | None = None, **more: Any) -> Schema:
    """An object with these fields and no others; all of them are there unless told otherwise."""
    return {"type": "object", "properties": properties, "additionalProperties": False,
            "required": list(properties if required is None else required), **more}


def ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


def nullable(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


def words(*known: str | bool | None) -> Schema:
    return {"enum": list(known)}


def text(longest: int, about: str = "") -> Schema:
    """Text that may be left blank. No null character: a database would refuse it."""
    return {"type": ["string", "null"], "maxLength": longest, "pattern": "^[^\\u0000]*$", "description": about}


def needed_text(about: str) -> Schema:
    return {"type": "string", "minLength": 1, "maxLength": entries.LONGEST_NAME, "pattern": "^[^\\u0000]*[!-~]",
            "description": about}


def uuid_of(about: str) -> Schema:
    return {"type": "string", "format": "uuid", "description": about}


def time_of(about: str) -> Schema:
    return {"type": "string", "format": "date-time", "description": about}


def time_or_empty(about: str) -> Schema:
    """A time in a query, where a name without a value is one not given."""
    return {"anyOf": [time_of(about), {"const": ""}], "description": about}


def number(kind: str) -> Schema:
    low, high, unit = entries.PLAUSIBLE[kind]
    return {"type": "number", "minimum": low, "maximum": high, "description": unit}


def by_end(value: Schema) -> Schema:
    """One value an end; a single reason speaks for both."""
    ends = {end: nullable({"anyOf": [value, words(*entries.NO_VALUE)]}) for end in facts.ENDS}
    return {"anyOf": [shape(ends, required=()), words(*entries.NO_VALUE, None)]}


def unread_or(value: Schema) -> Schema:
    return {"anyOf": [value, words(*entries.NO_VALUE, None)]}


def phases(kind: str) -> Schema:
    one = {"type": "array", "items": number(kind)}
    return unread_or({"anyOf": [{**one, "minItems": n, "maxItems": n} for n in (1, 3)]})


# what goes in ----------------------------------------------------------------------------------------------

ABOUT: dict[str, Schema] = {
    "id": uuid_of("Made by the sender; the same each time the same entry is sent."),
    "tag": needed_text("The motor's tag as typed in the register."),
    "by": needed_text("Sign-in name of the person who looked."),
    "device_now": nullable(time_of("The sender's own idea of now; absent: its clock is taken.")),
}
MEASURED: dict[str, Schema] = {
    **{name: unread_or(words(*known)) for name, known in entries.WORDS.items()},
    **{name: by_end(words(*known)) for name, known in entries.WORDS_BY_END.items()},
    **{name: unread_or(number(name)) for name in entries.NUMBERS},
    **{name: by_end(number(name)) for name in entries.NUMBERS_BY_END},
    **{name: phases(name) for name in entries.PHASES},
    "winding_method": words(*entries.WINDING_METHODS, None),
}
FIGURES = "|".join((*entries.NUMBERS, *entries.NUMBERS_BY_END, *entries.PHASES))
READING = shape(
    {**ABOUT, "taken_at": time_of("When it was observed, any offset."),
     "state": words(*facts.STATES, None),
     "skip_reason": text(entries.LONGEST_NAME, "Why the motor was not looked at."),
     "entered_later": {"type": ["boolean", "null"]}, "remarks": text(entries.LONGEST_TEXT),
     "replaces": nullable(uuid_of("The entry that this one corrects.")),
     "replaces_why": text(entries.LONGEST_NAME, "Why it is corrected."),
     "confirmed": {"type": ["object", "null"], "additionalProperties": False, "maxProperties": entries.MOST_PROBLEMS,
                   "patternProperties": {f"^({FIGURES})([.].*)?$": {
                       "type": "string", "maxLength": entries.LONGEST_NAME, "pattern": "^[^\\u0000]*$"}},
                   "description": "Figures asked about and kept as typed: field, and the question's words."},
     **MEASURED},
    required=("id", "tag", "taken_at", "by"),
    allOf=[
        {"anyOf": [{"required": ["state"], "properties": {"state": words(*facts.STATES)}},
                   {"required": ["skip_reason"], "properties": {"skip_reason": needed_text("")}}]},
        {"anyOf": [{"properties": {"replaces": {"type": "null"}, "replaces_why": words("", None)}},
                   {"required": ["replaces", "replaces_why"],
                    "properties": {"replaces": {"type": "string"}, "replaces_why": needed_text("")}}]},
    ],
    description="What one person found at one motor, or why it was skipped. A measured field may be absent "
                "(not looked at), or say “not fitted” or “could not read”.")
GREASING = shape(
    {**ABOUT, "at": time_of("When it was greased, any offset."), "end": words(*facts.ENDS),
     "lubricant": text(entries.LONGEST_NAME), "thickener": text(entries.LONGEST_NAME),
     "grams": nullable(number("grams")), "why": text(entries.LONGEST_NAME, "Why sooner or more than the chart says.")},
    required=("id", "tag", "at", "by", "end"))
START = shape(
    {**ABOUT, "at": time_of("When it was energised, any offset."), "outcome": words(*entries.START_OUTCOMES),
     "duration_s": nullable({**number("duration_s"), "description": "How long, where it did not run on; s."}),
     "then_continuous": {"type": ["boolean", "null"], "description": "Continuous running follows this short start."}},
    required=("id", "tag", "at", "by", "outcome"),
    description="Every energising counts: tries that failed, bumps, automatic restarts.")
STOP = shape({**ABOUT, "at": time_of("When it was stopped, any offset.")}, required=("id", "tag", "at", "by"))
TRIP = shape(
    {**ABOUT, "at": time_of("When it tripped, any offset."), "protection": words(*entries.TRIP_PROTECTIONS),
     "cause": text(entries.LONGEST_CAUSE, "Where it is known.")}, required=("id", "tag", "at", "by", "protection"))
#: Whose fields the readers of app/entries.py know.
READ_BY = {"Reading": entries.READING_FIELDS, "Greasing": entries.GREASING_FIELDS, "Start": entries.START_FIELDS,
           "Stop": entries.STOP_FIELDS, "Trip": entries.TRIP_FIELDS}


# what comes out --------------------------------------------------------------------------------------------

_JSON_TYPES = {str: "string", float: "number", int: "integer", bool: "boolean"}
LOCAL_TIME = time_of("The unit's local time with the offset it had then.")


def columns(model: type[Motor] | type[Nameplate] | type[LubricationPoint] | type[Greasing],
            names: tuple[str, ...]) -> dict[str, Schema]:
    """The fields that are columns of a record, by the database's own types."""
    found = sa.inspect(model).columns
    types = {name: getattr(found[name].type, "impl_instance", found[name].type) for name in names}
    kinds = {name: _JSON_TYPES[types[name].python_type] for name in names}
    return {name: {"type": [kind, "null"] if found[name].nullable else kind} for name, kind in kinds.items()}


def cell(kind: str) -> Schema:
    """A cell of the week's file."""
    if kind == TEXT:
        return {"type": "string"}
    return {"type": ["number", "null"]} if kind == NUMBER else nullable(LOCAL_TIME)


FINDING = shape({
    "rule": {"type": "string"}, "end": words(*facts.ENDS, None), "priority": words(*PRIORITIES),
    "value": {"type": ["number", "null"]}, "limit": {"type": ["number", "null"]},
    "unit_of_measure": {"type": ["string", "null"]}, "source": {"type": "string"}, "says": {"type": "string"}})
RECORDED = shape({"id": uuid_of("As sent."), "findings": {"type": "array", "items": ref("Finding")},
                  "stored": {"type": "boolean", "description": "false: it was there already"}})
PROBLEM = shape({
    "type": {"type": "string"}, "title": {"type": "string"}, "status": {"type": "integer"},
    "detail": {"type": "string"},
    "errors": {"type": "array", "items": shape({"field": {"type": "string"}, "detail": {"type": "string"}})}},
    required=("type", "title", "status", "detail"), description="RFC 9457 problem details; `errors` names each field.")
REFUSED = shape({"id": {"type": ["string", "null"]}, "stored": words(False), "problem": ref("Problem")},
                description="An item of a list that was refused.")
MOTOR = shape({
    **columns(Motor, POSITION), "may_start_by_itself": {"type": "boolean"}, "condition_at": nullable(LOCAL_TIME),
    "nameplate": nullable(shape({**columns(Nameplate, PLATE), "fitted_on": nullable({"type": "string"})})),
    "lubrication": shape(dict.fromkeys(facts.ENDS, nullable(shape(
        {**columns(LubricationPoint, POINT), "last_greased": nullable({"type": "string"})}))))})
FLAG = shape({
    "tag": {"type": "string"}, "rule": {"type": "string"}, "end": words(*facts.ENDS, None),
    "priority": words(*PRIORITIES), "state": words(*FLAG_STATES), "value": {"type": ["number", "null"]},
    "limit": {"type": ["number", "null"]}, "unit_of_measure": {"type": ["string", "null"]},
    "times_seen": {"type": "integer"}, "shifts_open": {"type": "integer"}, "first_raised": LOCAL_TIME,
    "last_seen": LOCAL_TIME, "seen": {"type": "boolean"}, "says": {"type": "string"}})
READING_TOLD = shape({
    **{name: each for name, each in READING["properties"].items() if name != "device_now"},
    "taken_at": LOCAL_TIME, "received_at": LOCAL_TIME,
    "clock_offset_s": {"type": "number", "description": "server minus tablet"},
    "token": {"type": ["string", "null"], "description": "name of the token that brought it"}})
LIMIT = shape({"name": {"type": "string"}, "value": {"type": "number"}, "unit": {"type": "string"},
               "default": {"type": "number"}, "source": {"type": "string"}})
EXCEPTION = shape({column.name: {**cell(column.kind), "description": column.about} for column in COLUMNS})

PERMISSION = shape({
    "answer": words("yes", "not before", "no"), "not_before": nullable(LOCAL_TIME),
    "decided_by": {"type": ["string", "null"]}, "source": {"type": ["string", "null"]},
    "starts_last_60_min": {"type": "integer"}, "tries_left": {"type": ["integer", "null"]}, "says": {"type": "string"}},
    description="Advice on the start limits. It clears nobody and releases nothing.")

#: Everything that has a name in the description.
NAMED: dict[str, Schema] = {
    "Reading": READING, "Greasing": GREASING, "Start": START, "Stop": STOP, "Trip": TRIP,
    "Finding": FINDING, "Recorded": RECORDED, "Refused": REFUSED,
    "Problem": PROBLEM, "Motor": MOTOR, "Flag": FLAG, "ReadingTold": READING_TOLD, "Limit": LIMIT,
    "Exception": EXCEPTION, "StartPermission": PERMISSION,
}

# query parameters ------------------------------------------------------------------------------------------

PARAMETERS: dict[str, Schema] = {
    "after": {"type": "integer", "minimum": 0, "maximum": 999_999_999,
              "description": "From `next` of the page before."},
    "open": {**words("true", "false", ""), "description": "true: those that are not closed; else all."},
    "tag": {"type": "string", "description": "One motor's, percent-encoded and as typed."},
    "from": time_or_empty("From this instant on; seven days ago where absent."),
    "to": time_or_empty("Before this instant."),
    "at": time_or_empty("As it would be at this instant; now where absent."),
    "then": {**words("continuous", ""), "description": "Continuous running follows."},
    "week": {"type": "string", "pattern": "^(19[7-9]|2[0-9]{2})[0-9]-W(0[1-9]|[1-4][0-9]|5[0-3])$",
             "description": "ISO week, such as 2026-W48."},
}


def place(key: str) -> Schema:
    """`after` in a list by time: the place of the last one of the page before, whose key has this pattern. Only `next`
    makes it; 0 is the beginning."""
    return {"type": "string", "pattern": f"^(0|[0-9]{{1,16}}\\.{key})$",
            "description": "From `next` of the page before, as it stands there. What comes in meanwhile shifts "
                           "nothing; of before that place, it is in the list when that is asked for anew."}


READING_PLACE, FLAG_PLACE = place("[0-9a-f]{32}"), place("[0-9]{1,9}")


def page_of(name: str, item: str) -> Schema:
    """One page of a list and the address of the next one, null at the end."""
    return shape({name: {"type": "array", "items": ref(item)}, "next": {"type": ["string", "null"]}})
