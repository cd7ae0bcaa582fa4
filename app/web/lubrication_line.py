"""One line of the lubrication chart changed by the supervisor, with the reason; what is computed, confirmed by name."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, StringField
from wtforms.validators import DataRequired, Length, Optional

from app.entries import clean_text
from app.gathering import plate_facts
from app.rules import chart_offer, facts
from app.rules.chart_offer import ChartOffer, Service
from app.rules.numbers import NotANumber, read_number
from app.rules.units import g_from_oz, oz_from_g
from app.store import chart, motors
from app.store.motors import LUBRICATION_KINDS, LubricationPoint, Motor
from app.store.people import SUPERVISOR
from app.store.register_columns import exact
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import WordField
from app.web.lubrication_form import thickeners

YES, NO = "yes", "no"
SERVICE_WORDS = {
    "housing": tuple(chart_offer.HOUSING_C), "contamination": chart_offer.CONTAMINATION,
    "moisture": chart_offer.MOISTURE, "vibration": tuple(chart_offer.VIBRATION_IN_S_PEAK),
    "position": chart_offer.POSITION, "severity": chart_offer.SEVERITIES,
}


def add_to(bp: Blueprint) -> None:
    bp.add_url_rule("/motors/<int:motor_id>/chart/<end>", "chart_line", line)
    bp.add_url_rule("/motors/<int:motor_id>/chart/<end>", "save_chart_line", save_line, methods=["POST"])
    bp.add_url_rule("/motors/<int:motor_id>/chart/<end>/offer", "confirm_offer", confirm_offer, methods=["POST"])


class LineForm(Form):
    """One bearing's line. An empty field is not known, never zero."""

    kind = WordField("Lubricated by", LUBRICATION_KINDS, [Optional()])
    lubricant = StringField("Lubricant", [Optional(), Length(max=200, message="Keep it to 200 characters.")],
                            filters=[lambda text: clean_text(text or "")])
    thickener = StringField("Thickener", [Optional(), Length(max=200, message="Keep it to 200 characters.")],
                            filters=[lambda text: clean_text(text or "")])
    amount = StringField("Amount")
    interval_days = StringField("Interval, days")
    interval_run_h = StringField("Interval, running hours")
    greased_while = WordField("Greased while", chart.GREASED_WHILE, [Optional()])
    drain_plug = WordField("Drain plug", (YES, NO), [Optional()])
    why = StringField("Why it is changed", [
        DataRequired("Write why: the change is kept with your name and the reason."),
        Length(max=200, message="Keep it to 200 characters.")], filters=[lambda text: clean_text(text or "")])

    def values(self) -> dict[str, Any] | None:
        """The line's columns; None with an error at each field that cannot be taken."""
        good, ounces = self.validate(), unit().grease == "oz"
        amount = self._number(self.amount, 176 if ounces else 5000, unit().grease)
        read = {
            "kind": self._word(self.kind, LUBRICATION_KINDS), "lubricant": self.lubricant.data or None,
            "thickener": self.thickener.data or None,
            "grease_g": g_from_oz(amount) if ounces and amount is not None else amount,
            "interval_days": self._number(self.interval_days, 7300, "days"),
            "interval_run_h": self._number(self.interval_run_h, 200_000, "h"),
            "greased_while": self._word(self.greased_while, chart.GREASED_WHILE),
            "drain_plug": {YES: True, NO: False}.get(self.drain_plug.data or ""),
        }
        if read["kind"] == "sealed" and (read["interval_days"] or read["interval_run_h"] or read["grease_g"]):
            self._wrong(self.kind, "A sealed bearing gets no grease: empty amount and interval, or choose grease.")
        return read if good and not any(field.errors for field in self) else None

    def _wrong(self, field: Any, says: str) -> None:
        field.errors = [*field.errors, says]

    def _word(self, field: Any, words: tuple[str, ...]) -> str | None:
        if field.data and field.data not in words:
            self._wrong(field, f"Choose one of: {', '.join(words)}.")
        return field.data or None

    def _number(self, field: Any, high: float, unit_of: str) -> float | None:
        typed = (field.data or "").strip()
        if not typed:
            return None
        try:
            value = read_number(typed, 0, high, unit_of)
            if value <= 0:
                raise NotANumber("Enter a value above 0, or leave it empty when it is not known.")
            return value
        except NotANumber as error:
            self._wrong(field, str(error))
            return None


def _form_of(point: LubricationPoint | None) -> LineForm:
    if point is None:
        return LineForm()
    shown = oz_from_g(point.grease_g) if point.grease_g and unit().grease == "oz" else point.grease_g
    return LineForm(data={
        "kind": point.kind, "lubricant": point.lubricant, "thickener": point.thickener,
        "amount": exact(round(shown, 6)) if shown is not None else "", "interval_days": exact(point.interval_days),
        "interval_run_h": exact(point.interval_run_h), "greased_while": point.greased_while,
        "drain_plug": {True: YES, False: NO}.get(point.drain_plug) if point.drain_plug is not None else ""})


def _motor_and_end(session: Session, motor_id: int, end: str) -> Motor:
    if end not in facts.ENDS:
        abort(404)
    return found_or_404(motors.motor_by_id(session, unit().id, motor_id))  # type: ignore[no-any-return]


@allow(SUPERVISOR)
def line(motor_id: int, end: str) -> Any:
    with reading() as session:
        motor = _motor_and_end(session, motor_id, end)
        return _page(motor, end, _form_of(motor.point(end)))


def _page(motor: Motor, end: str, form: LineForm, meanwhile: LubricationPoint | None = None) -> str:
    service = _service(request.values)
    plate, point = plate_facts(motor.nameplate), motor.point(end)
    return render_template(
        "lubrication/line.html", motor=motor, end=end, form=form, point=point, meanwhile=meanwhile, service=service,
        service_words=SERVICE_WORDS, offers=chart_offer.offers(plate, end, service), bearing=plate.bearing[end],
        thickeners=thickeners())


def _service(given: Any) -> Service:
    """The service as chosen on the page; what is not chosen or not known is the mildest, and is said."""
    chosen = {f.name: given.get(f.name, "") for f in fields(Service)}
    return Service(**{name: word for name, word in chosen.items() if word in SERVICE_WORDS[name]})


@allow(SUPERVISOR)
def save_line(motor_id: int, end: str) -> Any:
    form = LineForm(request.form)
    with writing() as session:
        motor = _motor_and_end(session, motor_id, end)
        session.refresh(motor, with_for_update=True)
        point, values = motor.point(end), form.values()
        if request.form.get("line") != _line_key(point):
            return _page(motor, end, form, meanwhile=point), 409
        if values is None:
            return _page(motor, end, form), 422
        changed = chart.change_line(session, motor, end, values, person(), now(), form.why.data or "")
        session.commit()
    flash(f"{motor.tag} {end}: " + (f"{len(changed)} change{'' if len(changed) == 1 else 's'} kept." if changed
                                    else "nothing was changed."))
    return redirect(url_for("lubrication.motor_chart", motor_id=motor_id), 303)


def _line_key(point: LubricationPoint | None) -> str:
    return str(point.id) if point else ""


@allow(SUPERVISOR)
def confirm_offer(motor_id: int, end: str) -> Any:
    """Puts what was computed on the chart, with the name of who confirms it. It is computed again, never taken over."""
    with writing() as session:
        motor = _motor_and_end(session, motor_id, end)
        session.refresh(motor, with_for_update=True)
        point, service = motor.point(end), _service(request.form)
        offers = chart_offer.offers(plate_facts(motor.nameplate), end, service)
        chosen = next((o for o in offers if o.source == request.form.get("source") and not o.sealed), None)
        if chosen is None or request.form.get("line") != _line_key(point):
            return _page(motor, end, _form_of(point), meanwhile=point), 409
        values = _taken(point, chosen, request.form.getlist("take"))
        if not values:
            flash("Nothing was taken: choose amount, interval or both.")
            return redirect(url_for("lubrication.chart_line", motor_id=motor_id, end=end), 303)
        kind = {"kind": "grease"} if point is None or point.kind is None else {}
        chart.change_line(session, motor, end, {**values, **kind}, person(), now(),
                          f"computed, {chosen.source}: {chosen.told}", computed=tuple(values))
        session.commit()
    flash(f"{motor.tag} {end}: computed figures confirmed by {person().name} and on the chart.")
    return redirect(url_for("lubrication.motor_chart", motor_id=motor_id), 303)


def _taken(point: LubricationPoint | None, offer: ChartOffer, take: list[str]) -> dict[str, float]:
    """The figures to be confirmed. Grams to a tenth: nobody weighs finer."""
    found = {"grease_g": None if offer.grease_g is None else round(offer.grease_g, 1),
             "interval_run_h": offer.interval_run_h}
    return {name: value for name, value in found.items() if name in take and value is not None}
