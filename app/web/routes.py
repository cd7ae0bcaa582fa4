"""Routes: the unit's walks, each a named list of motors with its own order and how often it is walked."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from wtforms import Form, SelectField, StringField
from wtforms.validators import DataRequired, Length

from app.entries import clean_text
from app.store import routes
from app.store.motors import CHECKED_EVERY, Motor
from app.store.people import SUPERVISOR, Person
from app.store.routes import Hand, Route
from app.store.units import Unit
from app.web import routes_order
from app.web.access import allow, found_or_404, now, person, reading, unit, writing
from app.web.fields import WordField, picks

bp = Blueprint("routes", __name__)
routes_order.add_to(bp)

NOTHING, EVERYTHING = "", "all"


class RouteForm(Form):
    name = StringField("Name of the route", [DataRequired("Give the route a name, such as Outside walk."),
                                             Length(max=60, message="Keep the name to 60 characters.")],
                       filters=[lambda text: clean_text(text or "")])
    checked_every = WordField("Walked every", CHECKED_EVERY)

    def validate(self, extra_validators: Any = None) -> bool:
        good = super().validate(extra_validators)
        if self.checked_every.data not in CHECKED_EVERY:
            self.checked_every.errors = ["Choose how often it is walked: every shift, day or week."]
            return False
        return good


class NewRouteForm(RouteForm):
    begin = SelectField("Begin with", validate_choice=False)

    def offer(self, register: list[Motor]) -> NewRouteForm:
        areas = dict.fromkeys(motor.area for motor in register)
        self.begin.choices = picks([(NOTHING, "no motor yet"), (EVERYTHING, "every motor of the unit"),
                                    *((f"area {area}", f"the motors of {area}") for area in areas)])
        return self

    def chosen(self, register: list[Motor]) -> list[Motor]:
        """The motors it begins with, in the register's order."""
        return [motor for motor in register if self.begin.data in (EVERYTHING, f"area {motor.area}")]


# the list --------------------------------------------------------------------------------------------------


@bp.get("/register/routes")
@allow(SUPERVISOR)
def index() -> Any:
    with reading() as session:
        return _list(session, NewRouteForm())


@bp.post("/register/routes", endpoint="add")
@allow(SUPERVISOR)
def add() -> Any:
    with writing() as session:
        register = routes.register_of(session, unit().id)
        form = NewRouteForm(request.form).offer(register)
        if not form.validate() or not _name_is_free(session, form, None):
            return _list(session, form), 422
        made = routes.add_route(hand(session), form.name.data or "", form.checked_every.data, form.chosen(register))
        session.commit()
        flash(f"{made.name} is a route, with {len(made.stops)} motors.")
        return redirect(url_for(".order", route_id=made.id), 303)


def _list(session: Session, form: NewRouteForm) -> str:
    register = routes.register_of(session, unit().id)
    walks = routes.walks_of(session, unit().id)
    return render_template(
        "routes/index.html", form=form.offer(register), routes=walks.routes, register=register,
        on_none=[motor for motor in register if motor.id not in walks.of_motor],
        on_several=[(motor, on) for motor in register if len(on := walks.of_motor.get(motor.id, ())) > 1],
        unplaced=[motor for motor in register if motor.route_order is None])


def _name_is_free(session: Session, form: RouteForm, route: Route | None) -> bool:
    there = routes.route_named(session, unit().id, form.name.data or "")
    if there is None or there is route:
        return True
    form.name.errors = [f"Choose another name: {there.name} is a route already."]
    return False


def hand(session: Session) -> Hand:
    return Hand(session, session.get_one(Unit, unit().id), session.get_one(Person, person().id), now())


# one route -------------------------------------------------------------------------------------------------


@bp.get("/register/routes/<int:route_id>/edit")
@allow(SUPERVISOR)
def edit(route_id: int) -> Any:
    with reading() as session:
        route = found_or_404(routes.route_by_id(session, unit().id, route_id))
        return _edit_page(session, route, RouteForm(obj=route))


@bp.post("/register/routes/<int:route_id>/edit", endpoint="save")
@allow(SUPERVISOR)
def save(route_id: int) -> Any:
    with writing() as session:
        route = found_or_404(routes.route_by_id(session, unit().id, route_id))
        form = RouteForm(request.form)
        if request.form.get("was") != was(route):
            return _edit_page(session, route, form, meanwhile=True), 409
        if not form.validate() or not _name_is_free(session, form, route):
            return _edit_page(session, route, form), 422
        routes.change_route(hand(session), route, form.name.data or "", form.checked_every.data)
        session.commit()
        flash(f"{route.name} is saved.")
    return redirect(url_for(".order", route_id=route_id), 303)


def was(route: Route) -> str:
    """Name and how often as the page was opened with: the later of two is asked."""
    return f"{route.checked_every} {route.name}"


def _edit_page(session: Session, route: Route, form: RouteForm, meanwhile: bool = False) -> str:
    walks = routes.walks_of(session, unit().id)
    alone = [motor for motor in routes.register_of(session, unit().id) if walks.of_motor.get(motor.id) == (route,)]
    return render_template("routes/edit.html", route=route, form=form, was=was(route), alone=alone,
                           meanwhile=meanwhile, newest=routes.newest_change(session, unit().id, route))


@bp.post("/register/routes/<int:route_id>/take-away")
@allow(SUPERVISOR)
def take_away(route_id: int) -> Any:
    with writing() as session:
        route = found_or_404(routes.route_by_id(session, unit().id, route_id))
        name = route.name
        routes.take_away(hand(session), route)
        session.commit()
    flash(f"{name} is no route any more. Its motors are in the register as before.")
    return redirect(url_for(".index"), 303)


@bp.post("/register/routes/<int:route_id>/motors", endpoint="put_on")
@allow(SUPERVISOR)
def put_on(route_id: int) -> Any:
    """More motors at the end of the walk; one that is there already, by a second tap or another person, stays."""
    with writing() as session:
        route = found_or_404(routes.route_by_id(session, unit().id, route_id))
        there = set(route.motor_ids)
        chosen = [motor for motor in routes.register_of(session, unit().id)
                  if str(motor.id) in request.form.getlist("motor") and motor.id not in there]
        routes.put_on(hand(session), route, chosen)
        session.commit()
    flash(f"{len(chosen)} motor{'' if len(chosen) == 1 else 's'} put on {route.name}, at its end." if chosen else
          "No motor was chosen.")
    return redirect(url_for(".order", route_id=route_id), 303)
