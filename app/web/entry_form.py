"""The form at the motor: what was tapped and typed, read into the same body that the tablet and the JSON door send."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from werkzeug.datastructures import MultiDict
from wtforms import Field, RadioField, SelectMultipleField, StringField, TextAreaField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import InputRequired, Length, Optional

from app import entries
from app.last_values import Last
from app.rules import facts, units
from app.rules.facts import Show
from app.rules.numbers import NotANumber, read_number
from app.rules.shifts import local_instant
from app.store.motors import Motor
from app.store.rounds import Reading
from app.store.units import Unit
from app.web.entry_doubts import Question, figures_are_meant
from app.web.entry_filling import NOTHING_WRONG, figures_of
from app.web.fields import BoundOnce, picks

COULD_NOT = ("could not read", "not fitted")
#: What is looked at from two metres away, before anything is touched; the first excludes the others.
LOOK = (
    (NOTHING_WRONG, "Nothing wrong"), ("smoke", "Smoke, sparks or burning smell"), ("guard missing", "Guard missing"),
    ("guard loose", "Guard loose"), ("ground missing", "Ground wire missing"), ("ground loose", "Ground wire loose"),
    ("leak", "Leak"),
)
#: What a motor that does not run is not asked: there is no heat to feel and no current to read.
RUNNING_ONLY = frozenset({
    "vibration_both", "vibration_feel_DE", "vibration_feel_ODE", "vibration_DE", "vibration_ODE", "bearing_feel_DE",
    "bearing_feel_ODE", "bearing_temp_DE", "bearing_temp_ODE", "method", "winding_feel", "winding_temp",
    "winding_method", "amps_1", "amps_2", "amps_3", "amps_unread", "volts_1", "volts_2", "volts_3"})
#: What is left out besides where nobody is to come near: only the look from two metres stays.
IN_SERVICE_ONLY = frozenset({"lubricant_both", "lubricant_DE", "lubricant_ODE", "cleanliness"})
NOT_IN_SERVICE = RUNNING_ONLY | IN_SERVICE_ONLY
SKIP_REASONS = ("could not reach it", "area closed by permit or gas", "no time this round", "machine not there")


def choices(words: tuple[str, ...]) -> list[SelectChoice]:
    return picks((w, w[:1].upper() + w[1:]) for w in words)


class _OfWords:
    """What was sent is looked up among the words; the library would make every choice anew for it, and ask its
    validators whether something was sent."""

    def __init__(self, label: str, validators: Sequence[Any], choices: list[SelectChoice], **kwargs: Any) -> None:
        super().__init__(label, validators, choices=choices, **kwargs)  # type: ignore[call-arg]
        self.words = frozenset(choice.value for choice in choices if choice.value.strip())

    def validate(self, form: Any, extra_validators: Any = ()) -> bool:
        field: Any = self
        if field.raw_data and not field.process_errors and self.words.issuperset(field.raw_data):
            field.errors = []
            return True
        return super().validate(form, extra_validators)  # type: ignore[misc, no-any-return]


class OneOf(_OfWords, RadioField):
    """One word of a few."""


class SomeOf(_OfWords, SelectMultipleField):
    """Any of a few words."""


def radio(label: str, words: tuple[str, ...]) -> RadioField:
    return OneOf(label, [Optional()], choices=choices(words))


class Figure(StringField):
    """A typed number, read strictly. `number` is what was understood, in the unit it was typed in; None when blank."""

    number: float | None = None
    #: what is asked of it before it is stored, and the answer
    question: Question | None = None

    def __init__(self, label: str, kind: str, **kwargs: Any) -> None:
        super().__init__(label, [Optional()], **kwargs)
        self.kind = kind

    def post_validate(self, form: Any, validation_stopped: bool) -> None:
        if not (self.data or "").strip():
            return
        low, high, unit = form.range_of(self.kind)
        try:
            self.number = read_number(self.data, low, high, unit)
        except NotANumber as error:
            self.errors = [*self.errors, str(error)]


class EntryForm(BoundOnce):
    """Nothing is filled in beforehand but what the person themself typed a moment ago."""

    state = OneOf("State", [InputRequired("Choose the state you found it in.")], choices=choices(facts.STATES))
    look = SomeOf("Look first", [Optional()], choices=picks(LOOK))
    vibration_both = OneOf("Vibration", [Optional()], choices=picks([
        ("as usual", "As usual, both ends"), ("not", "Not as usual")]))
    vibration_feel_DE = radio("Vibration, coupling end (DE)", entries.VIBRATION_WORDS)
    vibration_feel_ODE = radio("Vibration, fan end (ODE)", entries.VIBRATION_WORDS)
    bearing_feel_DE = radio("Bearing, coupling end (DE)", entries.TEMPERATURE_WORDS)
    bearing_feel_ODE = radio("Bearing, fan end (ODE)", entries.TEMPERATURE_WORDS)
    bearing_temp_DE = Figure("Bearing measured, coupling end (DE)", "bearing_temp_c")
    bearing_temp_ODE = Figure("Bearing measured, fan end (ODE)", "bearing_temp_c")
    method = OneOf("How the bearings were measured", [Optional()],
                        choices=picks([
                            ("contact", "Contact probe"), ("infrared", "Infrared"), ("fitted", "Fitted gauge")]))
    winding_feel = radio("Frame and winding, by hand", entries.TEMPERATURE_WORDS)
    winding_temp = Figure("Winding measured", "winding_temp_c")
    winding_method = OneOf("How the winding was measured", [Optional()],
                                choices=picks([
                                    ("fitted", "Fitted probe"), ("contact", "Contact probe"),
                                    ("infrared", "Infrared")]))
    amps_1 = Figure("Ammeter", "current_a")
    amps_2 = Figure("Ammeter, second phase", "current_a")
    amps_3 = Figure("Ammeter, third phase", "current_a")
    # boxes, not dots: one tapped by mistake can be taken back
    amps_unread = SomeOf("No ammeter value", [Optional()], choices=choices(COULD_NOT))
    volts_1 = Figure("Volts 1–2", "voltage_v")
    volts_2 = Figure("Volts 2–3", "voltage_v")
    volts_3 = Figure("Volts 3–1", "voltage_v")
    lubricant_both = OneOf("Lubricant", [Optional()], choices=picks([
        ("ok", "Right, both ends"), ("not", "Not right")]))
    lubricant_DE = radio("Lubricant, coupling end (DE)", facts.LUBRICANT)
    lubricant_ODE = radio("Lubricant, fan end (ODE)", facts.LUBRICANT)
    cleanliness = radio("Clean", facts.CLEANLINESS)
    vibration_DE = Figure("Vibration by instrument, coupling end (DE)", "vibration_mm_s")
    vibration_ODE = Figure("Vibration by instrument, fan end (ODE)", "vibration_mm_s")
    ambient = Figure("Air around the motor", "ambient_c")
    seen_at = StringField("Seen at, if entered later", [Optional()])
    remarks = TextAreaField("Remarks", [Optional(), Length(max=entries.LONGEST_TEXT, message=(
        "Keep remarks to 2,000 characters."))], filters=[lambda text: entries.clean_text(text or "")])
    replaces_why = StringField("Why it is corrected", [Optional(), Length(max=entries.LONGEST_NAME, message=(
        "Keep it to 200 characters."))], filters=[lambda text: entries.clean_text(text or "")])

    def __init__(self, formdata: MultiDict[str, str] | None, motor: Motor, unit: Unit, now: datetime,
                 correcting: Reading | None = None) -> None:
        self.motor, self.unit, self.now, self.correcting = motor, unit, now, correcting
        self.show: Show = unit.show
        #: when the same page was stored before: sent again, it tells the same instant
        self.first_sent_at: datetime | None = None
        self.before = figures_of(correcting, unit.show) if correcting else {}
        #: what was read before, for the question whether a figure is meant; its answers as sent; what came of them
        self.past: dict[str, Last] = {}
        self.answers: MultiDict[str, str] = formdata or MultiDict()
        self.confirmed: dict[str, str] = {}
        self.meant: dict[str, str] = {}
        super().__init__(formdata)

    # what may be typed ------------------------------------------------------------------------------------

    def range_of(self, kind: str) -> tuple[float, float, str]:
        """The possible range of a kind in the unit that is typed here."""
        low, high, unit = entries.PLAUSIBLE[kind]
        if kind.endswith("_temp_c") or kind == "ambient_c":
            if self.show.temperature == "F":
                return units.f_from_c(low), units.f_from_c(high), "°F"
        elif kind == "vibration_mm_s" and self.show.vibration == "in/s":
            return low, 11.0, "in/s peak"  # 11 in/s peak is 198 mm/s RMS
        return low, high, unit

    def si(self, field: Figure) -> float | None:
        """What was typed, in SI. In a correction a figure that was left as it was stays the stored one to the digit."""
        if field.number is None:
            return None
        text, stored = self.before.get(field.name, ("", 0.0))
        if text and text == (field.data or "").strip():
            return stored
        if self.range_of(field.kind)[2] == "°F":
            return units.c_from_f(field.number)
        if self.range_of(field.kind)[2] == "in/s peak":
            return units.mm_s_rms_from_in_s_peak(field.number)
        return field.number

    def left_out(self) -> frozenset[str]:
        """The fields that the chosen state does not ask for."""
        if self.state.data == facts.RUNNING:
            return frozenset()
        return RUNNING_ONLY if self.state.data == facts.STANDBY else NOT_IN_SERVICE

    def said(self, name: str) -> str | None:
        """The word chosen in a field that the state asks for; a tap on a row that went away again is no answer."""
        return None if name in self.left_out() else self[name].data or None

    def figures(self) -> list[Figure]:
        """Those in which something was typed."""
        return [f for name in _figure_names() if ((f := self[name]).data or "").strip()]

    # does it agree with itself ----------------------------------------------------------------------------

    def validate(self, extra_validators: Any = None) -> bool:
        good = super().validate(extra_validators)
        return all([good, self._look_agrees(), self._state_agrees(),
                    self._both_agrees(self.vibration_both, "vibration_feel", "as usual"),
                    self._both_agrees(self.lubricant_both, "lubricant", "ok"), self._amps_agree(), self._volts_agree(),
                    self._seen_at_is_a_time(), self._correction_says_why(), figures_are_meant(self)])

    def _wrong(self, field: Field, says: str) -> bool:
        field.errors = [*field.errors, says]
        return False

    def _look_agrees(self) -> bool:
        chosen = self.look.data or []
        if NOTHING_WRONG in chosen and len(chosen) > 1:
            return self._wrong(self.look, "You chose “nothing wrong” and something wrong. Take one of them back.")
        for thing in ("guard", "ground"):
            if {f"{thing} missing", f"{thing} loose"} <= set(chosen):
                return self._wrong(self.look, f"The {thing} cannot be both missing and loose. Choose one.")
        return True

    def _state_agrees(self) -> bool:
        """A figure typed before the state was changed is asked for: no figure is dropped in silence."""
        left_out = self.left_out()
        if not left_out or not self.state.data:
            return True
        typed = [f for f in self.figures() if f.name in left_out]
        return all([True, *(self._wrong(f, f"A motor {self.state.data} is not asked for this. Empty it, or choose "
                                           "another state.") for f in typed)])

    def _both_agrees(self, both: RadioField, name: str, fine: str) -> bool:
        ends = [self.said(f"{name}_{end}") for end in facts.ENDS]
        chosen = self.said(both.name)
        if chosen == fine and any(word not in (None, fine) for word in ends):
            return self._wrong(both, f"You chose “{fine}” for both ends, and something else at one end. "
                                     "Take one of them back.")
        if chosen == "not" and not any(ends):
            return self._wrong(both, "Say at which end, and what is not right.")
        if chosen == "not" and ends == [fine, fine]:
            return self._wrong(both, f"You chose that it is not, and “{fine}” at both ends. Take one of them back.")
        return True

    def _amps_agree(self) -> bool:
        if self.state.data and "amps_1" in self.left_out():
            return True
        typed = [bool((f.data or "").strip()) for f in (self.amps_1, self.amps_2, self.amps_3)]
        reasons = self.amps_unread.data or []
        if any(typed) and reasons:
            return self._wrong(self.amps_unread, f"There is a value and “{reasons[0]}”. Take one of them back.")
        if len(reasons) > 1:
            return self._wrong(self.amps_unread, "Could not read, or not fitted? Take one of them back.")
        if typed[1] != typed[2] or (typed[1] and not typed[0]):
            return self._wrong(self.amps_1, "Enter one phase, or all three.")
        return True

    def _volts_agree(self) -> bool:
        if self.state.data and "volts_1" in self.left_out():
            return True
        volts = [bool((f.data or "").strip()) for f in (self.volts_1, self.volts_2, self.volts_3)]
        if any(volts) and volts not in ([True, False, False], [True, True, True]):
            return self._wrong(self.volts_1, "Enter one voltage, or all three.")
        return True

    def _seen_at_is_a_time(self) -> bool:
        text = (self.seen_at.data or "").strip()
        if not text:
            return True
        try:
            datetime.strptime(text.replace(".", ":"), "%H:%M")  # noqa: DTZ007 - a wall clock time, placed below
        except ValueError:
            return self._wrong(self.seen_at, f"“{text}” is not a time such as 07:12.")
        return True

    def _correction_says_why(self) -> bool:
        if self.correcting is not None and not (self.replaces_why.data or "").strip():
            return self._wrong(self.replaces_why, "Say why the earlier entry is corrected.")
        return True

    # the body ---------------------------------------------------------------------------------------------

    def taken_at(self) -> datetime:
        """Now; when entered later, the newest such time that has passed; for a correction the time it corrects."""
        text = (self.seen_at.data or "").strip()
        if not text:
            return self.correcting.taken_at if self.correcting else self.first_sent_at or self.now
        at = datetime.strptime(text.replace(".", ":"), "%H:%M").time()  # noqa: DTZ007
        zone = self.unit.calendar.zone
        today = self.now.astimezone(zone).date()
        seen = local_instant(today, at, zone)
        return seen if seen <= self.now else local_instant(today - timedelta(days=1), at, zone)

    def body(self, entry_id: str, sign_in: str) -> tuple[dict[str, Any], dict[str, str]]:
        """The entry's body as interfaces.md has it, and what was typed where it was converted."""
        body: dict[str, Any] = {
            "id": entry_id, "tag": self.motor.tag, "taken_at": self.taken_at().isoformat(), "by": sign_in,
            "state": self.state.data, "winding_feel": self.said("winding_feel"),
            "winding_method": self.said("winding_method"), "method": self.said("method"),
            "cleanliness": self.said("cleanliness"), "remarks": self.remarks.data or "",
            "entered_later": bool((self.seen_at.data or "").strip()),
            "winding_temp_c": self.si(self.winding_temp), "ambient_c": self.si(self.ambient),
            **self._looked(),
            "vibration_feel": self._ends("vibration_feel", self.vibration_both, "as usual"),
            "bearing_feel": {e: self.said(f"bearing_feel_{e}") for e in facts.ENDS},
            "lubricant": self._ends("lubricant", self.lubricant_both, "ok"),
            "bearing_temp_c": {e: self.si(self[f"bearing_temp_{e}"]) for e in facts.ENDS},
            "vibration_mm_s": {e: self.si(self[f"vibration_{e}"]) for e in facts.ENDS},
        }
        amps, volts = self._phases("amps"), self._phases("volts")
        body["current_a"] = amps or next(iter(self.said("amps_unread") or ()), None)
        body["voltage_v"] = volts or None
        body["confirmed"] = self.confirmed or None
        if self.correcting is not None:
            body["replaces"], body["replaces_why"] = str(self.correcting.id), self.replaces_why.data
        return body, self._typed()

    def _phases(self, name: str) -> list[float]:
        return [value for i in (1, 2, 3) if (value := self.si(self[f"{name}_{i}"])) is not None]

    def _looked(self) -> dict[str, str]:
        chosen = set(self.look.data or [])
        if not chosen:
            return {}
        # Whoever looked and named one thing saw the others too.
        def place(thing: str) -> str:
            return next((w for w in ("missing", "loose") if f"{thing} {w}" in chosen), "in place")

        return {"smoke": "seen" if "smoke" in chosen else "none", "guard": place("guard"), "ground": place("ground"),
                "leak": "seen" if "leak" in chosen else "none"}

    def _ends(self, name: str, both: RadioField, fine: str) -> dict[str, str | None]:
        if self.said(both.name) == fine:
            return dict.fromkeys(facts.ENDS, fine)
        return {end: self.said(f"{name}_{end}") for end in facts.ENDS}

    def _typed(self) -> dict[str, str]:
        """What was typed in a unit that is not the stored one."""
        kept = {}
        for field in self.figures():
            if field.number is not None:
                unit = self.range_of(field.kind)[2]
                if unit in ("°F", "in/s peak") or "," in field.data:
                    kept[field.name] = f"{field.data.strip()} {unit}"
        return {**kept, **self.meant}


@cache
def _figure_names() -> tuple[str, ...]:
    return tuple(field.name for field in EntryForm.blank() if isinstance(field, Figure))


def form_field_of(entry_field: str) -> str:
    """The form's field for a field of the body: "bearing_temp_c.DE" -> "bearing_temp_DE"."""
    name, _, part = entry_field.partition(".")
    plain = {"current_a": "amps_" + (part or "1"), "voltage_v": "volts_" + (part or "1"),
             "winding_temp_c": "winding_temp", "ambient_c": "ambient", "taken_at": "seen_at",
             "replaces": "replaces_why"}
    by_end = {"bearing_temp_c": "bearing_temp", "vibration_mm_s": "vibration"}
    if name in plain:
        return plain[name]
    return f"{by_end.get(name, name)}_{part}" if part else name


def without_empty(body: dict[str, Any]) -> dict[str, Any]:
    """A field left blank was not looked at: it is not sent at all."""
    trimmed = {k: {e: v for e, v in value.items() if v is not None} if isinstance(value, dict) else value
               for k, value in body.items()}
    return {k: v for k, v in trimmed.items() if v not in (None, "", {})}
