"""The form of one greasing at the motor, and what it says: read strictly, nothing observed filled in beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from wtforms import Form, RadioField, StringField
from wtforms.validators import InputRequired, Length, Optional

from app.entries import clean_text
from app.lubricating import Bearing
from app.recording import GivenWith
from app.rules import grease_amounts, greased, tables, wording
from app.rules.numbers import NotANumber, read_number
from app.rules.units import g_from_oz
from app.store.guns import GreaseGun
from app.store.units import Unit
from app.web.access import unit
from app.web.fields import WordField, picks
from app.web.times_ahead import choices as ends_ahead
from app.web.times_ahead import read_until

CHARTS, ANOTHER = "chart", "other"
PLUG_NONE, PLUG_BACK, PLUG_LEFT = "none", "back", "left"


def thickeners() -> list[str]:
    """The thickeners that the published grid knows."""
    grid = tables.rows("grease_compatibility")
    return sorted({row[side] for row in grid for side in ("thickener_in_bearing", "thickener_to_add")} - {"any"})


def _words(label: str, most: int) -> StringField:
    return StringField(label, [Optional(), Length(max=most, message=f"Keep it to {most} characters.")],
                       filters=[lambda text: clean_text(text or "")])


@dataclass(frozen=True)
class Given:
    """What went in, as the form says it."""

    lubricant: str
    thickener: str | None
    grams: float
    gun: GivenWith | None
    plug_until: datetime | None  # the drain plug was left out, to be back by then


class GreasingForm(Form):
    end = RadioField("Which bearing", [InputRequired("Choose the bearing that was greased.")],
                     choices=picks([("ODE", "Fan end (ODE)"), ("DE", "Coupling end (DE)")]))
    gun = RadioField("Gun", [Optional()], choices=[], validate_choice=False)
    strokes = StringField("Strokes given")
    grams = StringField("Amount given")
    lubricant_is = RadioField("Lubricant given", [Optional()], choices=[], validate_choice=False)
    lubricant = _words("Another lubricant", 200)
    thickener = WordField("Its thickener", thickeners(), [Optional()])
    plug = RadioField("Drain plug", [Optional()], validate_choice=False, choices=picks([
        (PLUG_NONE, "Has none, or stayed in"), (PLUG_BACK, "Out, and back in"), (PLUG_LEFT, "Left out to drain")]))
    plug_hours = RadioField("Back in", [Optional()], validate_choice=False, choices=ends_ahead("1", "2", "4"))
    plug_at = StringField("Or back in at", [Optional()])
    why = _words("Why it was greased all the same", 200)

    def offer(self, bearing: Bearing | None, guns: Sequence[GreaseGun]) -> GreasingForm:
        """Puts the unit's guns and the chart's lubricant among the choices."""
        self.gun.choices = picks((str(gun.id), gun_words(gun)) for gun in guns)
        chart = bearing.point.lubricant if bearing else None
        self.lubricant_is.choices = picks([*([(CHARTS, f"The chart's: {chart}")] if chart else []),
                                           (ANOTHER, "Another one")])
        return self

    def wrong(self, field: Any, says: str) -> None:
        field.errors = [*field.errors, says]

    @property
    def faulty(self) -> bool:
        return any(field.errors for field in self)

    def read(self, bearing: Bearing, guns: Sequence[GreaseGun], unit: Unit, now: datetime) -> Given | None:
        """What went in; None with an error at each field that cannot be taken."""
        gun = next((g for g in guns if str(g.id) == self.gun.data), None)
        grams, given_with = self._amount(gun, unit)
        lubricant, thickener = self._lubricant(bearing, gun)
        until = self._plug_until(bearing, unit, now)
        if self.faulty or grams is None or lubricant is None:
            return None
        return Given(lubricant, thickener, grams, given_with, until)

    # amount ------------------------------------------------------------------------------------------------

    def _number(self, field: Any, high: float, unit_of: str) -> float | None:
        try:
            return read_number(field.data or "", 0, high, unit_of)
        except NotANumber as error:
            self.wrong(field, str(error))
            return None

    def _amount(self, gun: GreaseGun | None, unit: Unit) -> tuple[float | None, GivenWith | None]:
        """Strokes of a gun are grams; typed both ways they must agree to half a stroke."""
        counted = self._number(self.strokes, 2000, "strokes") if (self.strokes.data or "").strip() else None
        typed = self._typed_grams(unit) if (self.grams.data or "").strip() else None
        if counted is None and typed is None:
            if not self.faulty:
                which = "Enter the strokes and choose the gun, or enter the amount." if self.gun.choices else (
                    "Enter the amount.")
                self.wrong(self.strokes if self.gun.choices else self.grams, f"{which} 0 when none went in.")
            return None, None
        if counted is None:
            return typed, None
        if gun is None and not counted:
            return 0.0, None
        if gun is None:
            self.wrong(self.gun, "Choose the gun: a stroke means nothing without it. Or enter the amount instead.")
            return None, None
        grams = counted * gun.stroke_g
        if typed is not None and abs(grams - typed) > gun.stroke_g / 2:
            given = wording.figure(grams, wording.grease(unit.show))
            self.wrong(self.grams, f"{counted:g} strokes of {gun.name} are {given}. Enter strokes or amount.")
            return None, None
        return grams, GivenWith(gun.name, gun.stroke_g, counted)

    def _typed_grams(self, unit: Unit) -> float | None:
        ounces = unit.grease == "oz"
        typed = self._number(self.grams, 170 if ounces else 5000, unit.grease)
        return g_from_oz(typed) if ounces and typed is not None else typed

    # lubricant ---------------------------------------------------------------------------------------------

    def _lubricant(self, bearing: Bearing, gun: GreaseGun | None) -> tuple[str | None, str | None]:
        """As said; else what the gun holds. A gun that holds another one than was said is asked about."""
        chart, said = bearing.point, self.lubricant.data or None
        if said is not None and self.lubricant_is.data == CHARTS and not greased.same_product(said, chart.lubricant):
            self.wrong(self.lubricant, "You chose the chart's lubricant. Choose “another one”, or empty this.")
            return None, None
        if said is None and self.lubricant_is.data == CHARTS:
            said = chart.lubricant
        holds = gun.lubricant if gun else None
        if said is None:
            if holds is None or self.lubricant_is.data == ANOTHER:
                self.wrong(self.lubricant, "Write which lubricant was given.")
            said = holds
        elif greased.same_product(said, holds) is False:
            self.wrong(self.gun, f"{gun.name if gun else 'This gun'} holds {holds}. Choose another gun, or say that "
                                 f"{holds} was given.")
        return said, self._thickener(said, chart.lubricant, chart.thickener, gun)

    def _thickener(self, said: str | None, charts: str | None, thickener: str | None,
                   gun: GreaseGun | None) -> str | None:
        if self.thickener.data:
            return str(self.thickener.data)
        if greased.same_product(said, charts):
            return thickener
        return gun.thickener if gun and greased.same_product(said, gun.lubricant) else None

    # drain plug --------------------------------------------------------------------------------------------

    def _plug_until(self, bearing: Bearing, unit: Unit, now: datetime) -> datetime | None:
        if self.plug.data not in (PLUG_NONE, PLUG_BACK, PLUG_LEFT):
            if bearing.line is not None and bearing.line.drain_plug and not self._nothing_went_in():
                self.wrong(self.plug, "Say where the drain plug is now.")
            return None
        if self.plug.data != PLUG_LEFT:
            return None
        return read_until(unit, now, self.plug_hours, self.plug_at, "Say when the drain plug will be back in.")

    def _nothing_went_in(self) -> bool:
        return (self.strokes.data or self.grams.data or "").strip() in ("0", "0.0", "0,0")


def stroke_words(stroke_g: float) -> str:
    """What one stroke gives: 1.35 g, 0.048 oz."""
    scale = wording.grease(unit().show)
    return wording.figure(stroke_g, replace(scale, places=3 if scale.unit == "oz" else 2))


def gun_words(gun: GreaseGun) -> str:
    return f"{gun.name}, {stroke_words(gun.stroke_g)} a stroke" + (f", {gun.lubricant}" if gun.lubricant else "")


def strokes_of(grams: float | None, gun: GreaseGun) -> int | None:
    """Whole strokes of this gun for an amount; None where it is not known."""
    return grease_amounts.strokes(grams, gun.stroke_g) if grams else None
