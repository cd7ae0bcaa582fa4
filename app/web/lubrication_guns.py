"""The unit's grease guns: what a stroke of each gives, and what is kept in it."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import BooleanField, Form, StringField
from wtforms.validators import DataRequired, Length, Optional

from app.entries import clean_text
from app.rules.numbers import NotANumber, read_number
from app.rules.units import g_from_oz, oz_from_g
from app.store import guns
from app.store.guns import GreaseGun
from app.store.people import HEAD_OPERATOR, OPERATOR
from app.store.register_columns import exact
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import WordField
from app.web.lubrication_form import stroke_words, thickeners


def add_to(bp: Blueprint) -> None:
    bp.add_app_template_filter(stroke_words, "stroke")
    bp.add_url_rule("/lubrication/guns", "guns", index)
    bp.add_url_rule("/lubrication/guns/add", "add_gun", add)
    bp.add_url_rule("/lubrication/guns/add", "save_new_gun", save_new, methods=["POST"])
    bp.add_url_rule("/lubrication/guns/<int:gun_id>", "gun", edit)
    bp.add_url_rule("/lubrication/guns/<int:gun_id>", "save_gun", save, methods=["POST"])


class GunForm(Form):
    name = StringField("Name on the gun", [DataRequired("Write the name that stands on the gun."),
                                           Length(max=60, message="Keep it to 60 characters.")],
                       filters=[lambda text: clean_text(text or "")])
    stroke = StringField("One stroke gives", [DataRequired("Enter what one stroke gives.")])
    lubricant = StringField("Lubricant it is kept to", [
        Optional(), Length(max=200, message="Keep it to 200 characters.")],
        filters=[lambda text: clean_text(text or "")])
    thickener = WordField("Its thickener", thickeners(), [Optional()])
    put_away = BooleanField("Put away: offered no more")

    def stroke_g(self) -> float | None:
        """Grams a stroke; None with an error at the field."""
        ounces = unit().grease == "oz"
        try:
            typed = read_number(self.stroke.data or "", 0, 1 if ounces else 30, unit().grease)
            if typed <= 0:
                raise NotANumber("Enter a value above 0: what ten strokes weigh, divided by ten.")
        except NotANumber as error:
            self.stroke.errors = [*self.stroke.errors, str(error)]
            return None
        return g_from_oz(typed) if ounces else typed


def _page(form: GunForm, gun: GreaseGun | None) -> str:
    return render_template("lubrication/gun.html", form=form, gun=gun)


@allow(OPERATOR)
def index() -> Any:
    with reading() as session:
        return render_template("lubrication/guns.html", guns=guns.guns_of(session, unit().id, put_away=True))


@allow(HEAD_OPERATOR)
def add() -> Any:
    return _page(GunForm(), None)


@allow(HEAD_OPERATOR)
def edit(gun_id: int) -> Any:
    with reading() as session:
        gun = found_or_404(guns.gun_by_id(session, unit().id, gun_id))
    shown = oz_from_g(gun.stroke_g) if unit().grease == "oz" else gun.stroke_g
    return _page(GunForm(data={"name": gun.name, "stroke": exact(round(shown, 6)), "lubricant": gun.lubricant,
                               "thickener": gun.thickener, "put_away": gun.put_away_at is not None}), gun)


@allow(HEAD_OPERATOR)
def save_new() -> Any:
    with writing() as session:
        return _save(session, None)


@allow(HEAD_OPERATOR)
def save(gun_id: int) -> Any:
    with writing() as session:
        return _save(session, found_or_404(guns.gun_by_id(session, unit().id, gun_id)))


def _save(session: Session, gun: GreaseGun | None) -> Any:
    form = GunForm(request.form)
    good, stroke_g = form.validate(), form.stroke_g() if form.stroke.data else None
    there = guns.gun_named(session, unit().id, form.name.data or "")
    if there is not None and there is not gun:
        form.name.errors = [*form.name.errors, f"{there.name} is entered already. Give this gun another name."]
        good = False
    if not good or stroke_g is None:
        return _page(form, gun), 422
    before = gun.put_away_at if gun else None
    kept = guns.save_gun(
        session, unit().id, gun, person(), now(), name=form.name.data, stroke_g=stroke_g,
        lubricant=form.lubricant.data or None, thickener=form.thickener.data or None,
        put_away_at=(before or now()) if form.put_away.data else None)
    session.commit()
    flash(f"{kept.name}: kept.")
    return redirect(url_for("lubrication.guns"), 303)
