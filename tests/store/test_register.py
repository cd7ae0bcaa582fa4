"""One motor in the register: what is taken, what is refused, what is noted, what a swap is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.db import Database
from app.judging import plate_facts
from app.rules.numbers import LONGEST, read_number
from app.store import register
from app.store.base import new_id
from app.store.lubrication import Greasing
from app.store.motors import LubricationPoint, Motor, MotorRun
from app.store.people import SUPERVISOR, Person
from app.store.register import RegisterErrors, cells_of, changes_of_motor, confirm_plate, save_motor
from app.store.register_columns import COLUMNS, clean, exact, read_cells
from app.store.units import Unit
from tests.factories import NOW, make_person, make_unit

TODAY = date(2026, 11, 24)
PLAIN = {"tag": "P-101A", "area": "Feed"}
DUAL = {**PLAIN, "hp": "7 1/2", "volts": "230/460", "amps": "24.8/12.4", "service_factor": "1.15",
        "fitted_on": "2020-05-04"}


@pytest.fixture
def session(database: Database) -> Iterator[Session]:
    with database.writing() as session:
        yield session


@pytest.fixture
def unit(session: Session) -> Unit:
    return make_unit(session)


@pytest.fixture
def supervisor(session: Session, unit: Unit) -> Person:
    return make_person(session, unit, SUPERVISOR)


@pytest.fixture
def add(session: Session, unit: Unit, supervisor: Person):
    def added(**cells: str) -> Motor:
        motor = save_motor(session, unit, None, {**PLAIN, **cells}, supervisor, NOW).motor
        assert motor is not None
        return motor

    return added


@pytest.fixture
def edit(session: Session, unit: Unit, supervisor: Person):
    def edited(motor: Motor, now: datetime = NOW, why: str | None = None, said: bool | None = None,
               **cells: str) -> register.Edit:
        return save_motor(session, unit, motor, {**cells_of(motor), **cells}, supervisor, now, why, said)

    return edited


def errors_of(**cells: str) -> dict[str, str]:
    with pytest.raises(RegisterErrors) as caught:
        read_cells({**PLAIN, **cells}, TODAY)
    return dict(caught.value.errors)


# cells -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("column", "typed"), [
    ("tag", ""), ("tag", "\u200b"), ("tag", "x" * 61), ("area", " "), ("service", "x" * 201), ("remarks", "x" * 2001),
    ("route_order", "first"), ("route_order", "-1"), ("checked_every", "month"), ("condition", "off"),
    ("interlock", "none"), ("ammeter", "two"), ("start_basis", "mine"), ("hp", "1/0"), ("hp", "02-Jan"),
    ("hp", "46350"), ("volts", "46000"), ("amps", "24,8,1"), ("amps", "nan"), ("amps", "1e309"),
    ("service_factor", "0.99"), ("service_factor", "2.01"), ("phases", "2"), ("phases", "3.0"), ("hz", "0"),
    ("rpm", "9.9"), ("poles", "3"),
    ("poles", "4.5"), ("code_letter", "I"), ("insulation_class", "Z"), ("ambient_c", "120.1"), ("ambient_c", "-60.1"),
    ("fitted_on", "24/11/2026"), ("fitted_on", "11/24/26"), ("fitted_on", "20261124"), ("fitted_on", "2026-02-30"),
    ("fitted_on", "2026-11-25"), ("fitted_on", "46350"), ("fitted_on", "1899-12-31"), ("connected_volts", "0"),
    ("mounting", "soft"), ("load_wk2_lbft2", "0"), ("written_starts_per_hour", "0"), ("written_tries", "0"),
    ("written_tries", "1.5"), ("de_lubrication", "paste"), ("de_grease_g", "0"), ("ode_interval_days", "0"),
    ("ode_interval_run_h", "-1"), ("ode_last_greased", "2026-11-25"), ("colour", "red"),
])
def test_a_cell_that_cannot_be_true_is_refused_by_name(column: str, typed: str) -> None:
    assert set(errors_of(**{column: typed})) == {column}


def test_every_bad_cell_is_named_at_once() -> None:
    assert set(errors_of(tag="", amps="x", hp="1/0", fitted_on="soon")) == {"tag", "amps", "hp", "fitted_on"}


@pytest.mark.parametrize(("column", "typed", "kept"), [
    ("tag", " 1E05 ", "1E05"), ("tag", "3-4", "3-4"), ("tag", "007", "007"), ("tag", "P‑101A", "P‑101A"),
    ("tag", "a/b?c#d", "a/b?c#d"), ("condition", "Locked  Out", "locked out"), ("interlock", "LOW-VOLTAGE RELEASE",
                                                                              "low-voltage release"),
    ("de_bearing", "Sleeve", "sleeve"), ("de_bearing", "6312-2Z/C3", "6312-2Z/C3"), ("amps", "24,8", "24,8"),
    ("service_factor", "1,15", "1.15"), ("ambient_c", "-40", "-40"), ("de_grease_g", "0.0047", "0.0047"),
    ("rpm", "1785", "1785"), ("service", "a\x0bb\x00c\td", "abc d"), ("remarks", "one\r\ntwo\x1b", "one\ntwo"),
    ("checked_every", "", "shift"), ("start_basis", "", "general practice"), ("hp", "7-1/2", "7-1/2"),
])
def test_a_cell_is_kept_as_it_was_meant(column: str, typed: str, kept: str) -> None:
    assert read_cells({**PLAIN, column: typed}, TODAY).cells()[column] == kept


@pytest.mark.parametrize(("cells", "column"), [
    ({"volts": "230/460", "amps": "12.4"}, "amps"), ({"volts": "460", "amps": "24.8/12.4"}, "amps"),
    ({"amps": "24.8/12.4"}, "amps"), ({"volts": "230/460", "amps": "12.4/24.8"}, "amps"),
    ({"volts": "230/460", "service_factor_amps": "14"}, "service_factor_amps"),
    ({"volts": "230/460", "connected_volts": "480"}, "connected_volts"),
    ({"volts": "460", "connected_volts": "230"}, "connected_volts"), ({"connected_volts": "460"}, "connected_volts"),
], ids=str)
def test_a_pair_that_does_not_fit_is_refused(cells: dict[str, str], column: str) -> None:
    assert set(errors_of(**cells)) == {column}


@pytest.mark.parametrize("value", [0.0047, 87.0, 1.234, 999.999, 1234.567, 24.8, 1e-05, -40.5, 999_999.0, 0.1 + 0.2])
def test_a_number_is_written_so_that_it_is_read_back_exactly(value: float) -> None:
    written = exact(value)
    assert float(written) == value and "e" not in written
    if len(written) <= LONGEST:  # what could be typed at all
        assert read_number(written) == value


def test_control_characters_never_reach_the_database() -> None:
    assert clean("a\x00\x07\x85b\ud800c") == "abc"


# a motor ---------------------------------------------------------------------------------------------------


def test_a_new_motor_holds_what_was_typed_and_nothing_else(session: Session, add) -> None:
    motor = add(**DUAL, de_lubrication="grease", de_grease_g="12", de_last_greased="2026-10-01", condition="running")
    session.expire_all()
    assert {n: c for n, c in cells_of(motor).items() if c} == {
        **DUAL, "checked_every": "shift", "start_basis": "general practice", "de_lubrication": "grease",
        "de_grease_g": "12", "de_last_greased": "2026-10-01", "condition": "running"}
    assert (motor.version, motor.condition_at) == (1, NOW)
    assert motor.point("ODE") is None


def test_days_become_instants_of_the_units_zone(add) -> None:
    motor = add(**DUAL, de_last_greased="2026-10-01")
    plate, point = motor.nameplate, motor.point("DE")
    assert plate.fitted_from == datetime(2020, 5, 4, 5, tzinfo=UTC)  # midnight of 4 May in Chicago, five hours behind
    assert point.last_greased_at == datetime(2026, 10, 1, 17, tzinfo=UTC)  # noon of 1 October
    assert point.last_greased == date(2026, 10, 1)


def test_a_motor_with_nothing_of_its_plate_known_has_no_plate(add) -> None:
    assert add().nameplate is None


@pytest.mark.parametrize(("chosen", "volts", "amps", "sfa"), [
    ("", None, None, None), ("230", 230.0, 24.8, 28.0), ("460", 460.0, 12.4, 14.0)])
def test_a_dual_plate_counts_only_when_its_voltage_is_chosen(add, chosen: str, volts: float | None, amps: float | None,
                                                             sfa: float | None) -> None:
    plate = add(**DUAL, connected_volts=chosen, service_factor_amps="28/14").nameplate
    assert (plate.volts, plate.amps, plate.service_factor_amps) == (volts, amps, sfa)
    assert (plate.volts_stamped, plate.amps_stamped, plate.sfa_stamped) == ("230/460", "24.8/12.4", "28/14")
    because = plate_facts(plate).amps_unknown_because
    assert because == ("connected voltage not chosen" if not chosen else None)


def test_service_factor_amps_are_never_made_up(add) -> None:
    assert add(volts="460", amps="24.8", service_factor="1.15").nameplate.service_factor_amps is None


def test_a_single_voltage_is_the_connected_one(add) -> None:
    plate = add(volts="460", amps="12.4").nameplate
    assert (plate.volts, plate.amps, plate.connected_volts) == (460.0, 12.4, None)


def test_amps_without_volts_are_the_rated_ones(add) -> None:
    assert add(amps="12.4").nameplate.amps == 12.4


@pytest.mark.parametrize("other", ["P–101A", "P‑101A", "P−101A", "p-101a ", "P-101A\u200b", "P-101\u00adA"],
                         ids=["en dash", "no-break hyphen", "minus", "case", "zero width", "soft hyphen"])
def test_another_spelling_of_a_tag_is_the_same_motor(add, other: str) -> None:
    add()
    with pytest.raises(RegisterErrors) as caught:
        add(tag=other, amps="x")
    assert [column for column, _ in caught.value.errors] == ["tag", "amps"]


@pytest.mark.parametrize("tag", ["1E05", "3-4", "007", "7", "Pumpe №2", "a/b?c#d"])
def test_a_tag_is_text_always(session: Session, add, tag: str) -> None:
    motor = add(tag=tag)
    session.expire_all()
    assert motor.tag == tag


def test_the_same_tag_may_stand_in_two_units(session: Session, add, supervisor: Person) -> None:
    add()
    other = make_unit(session, "Unit 3")
    assert save_motor(session, other, None, PLAIN, supervisor, NOW).new


# changes ---------------------------------------------------------------------------------------------------


def test_every_change_is_noted_with_who_before_after_and_why(session: Session, add, edit) -> None:
    motor = add(**DUAL, de_lubrication="grease", de_grease_g="12")
    edit(motor, why="walked the plant", service="feed pump", amps="25/12.5", de_grease_g="14", condition="standby")
    noted = {c.field: (c.subject, c.before, c.after, c.why, c.by) for c in changes_of_motor(session, motor)}
    assert noted == {
        "tag": ("motor", None, "P-101A", None, "Supervisor"),
        "service": ("motor", None, "feed pump", "walked the plant", "Supervisor"),
        "condition": ("motor", None, "standby", "walked the plant", "Supervisor"),
        "amps": ("nameplate", "24.8/12.4", "25/12.5", "walked the plant", "Supervisor"),
        "de_grease_g": ("lubrication point", "12", "14", "walked the plant", "Supervisor"),
    }
    assert motor.version == 2


def test_saving_without_a_change_changes_nothing(session: Session, add, edit) -> None:
    motor = add(**DUAL, route_order="1.2340", de_grease_g="0.0047", ambient_c="40.555556", remarks="one\ntwo")
    session.expire_all()
    assert edit(motor).differences == []
    assert (motor.version, len(changes_of_motor(session, motor))) == (1, 1)


def test_a_new_line_of_the_chart_closes_the_old_one(session: Session, add, edit) -> None:
    motor = add(de_lubrication="grease", de_grease_g="12", de_last_greased="2026-10-01")
    edit(motor, NOW + timedelta(days=1), de_grease_g="14")
    old, new = session.query(LubricationPoint).filter_by(motor_id=motor.id).order_by(LubricationPoint.id)
    assert (old.grease_g, old.replaced_at) == (12.0, NOW + timedelta(days=1))
    assert (new.grease_g, new.replaced_at, new.last_greased) == (14.0, None, date(2026, 10, 1))


def test_a_line_emptied_is_closed_and_no_new_one_comes(session: Session, add, edit) -> None:
    motor = add(de_grease_g="12")
    edit(motor, de_grease_g="")
    assert motor.point("DE") is None
    assert session.query(LubricationPoint).count() == 1


def test_the_registers_own_date_yields_to_a_recorded_greasing(session: Session, unit: Unit, supervisor: Person, add,
                                                              edit) -> None:
    motor = add(de_grease_g="12", de_last_greased="2026-10-01")
    session.add(Greasing(id=new_id(), content="x", unit_id=unit.id, motor_id=motor.id, end="DE", at=NOW,
                         received_at=NOW, person_id=supervisor.id))
    session.flush()
    with pytest.raises(RegisterErrors) as caught:
        edit(motor, de_last_greased="2026-11-01")
    assert caught.value.errors[0][0] == "de_last_greased"
    assert edit(motor, de_grease_g="14", ode_last_greased="2026-11-01").differences
    assert motor.point("DE").last_greased == date(2026, 10, 1)


def test_a_condition_by_hand_is_an_observation(session: Session, add, edit) -> None:
    motor = add(condition="running")
    later = NOW + timedelta(hours=2)
    edit(motor, later, condition="standby")
    run = session.get_one(MotorRun, motor.id)
    assert (motor.condition, motor.condition_at) == ("standby", later)
    assert (run.run_s, run.state, run.observed_at) == (7200.0, "standby", later)  # two hours running


def test_a_blank_condition_leaves_what_was_seen(add, edit) -> None:
    motor = add(condition="running")
    assert edit(motor, NOW + timedelta(hours=1), condition="").differences == []
    assert (motor.condition, motor.condition_at) == ("running", NOW)


@pytest.mark.parametrize(("now", "wanted"), [("standby", "locked out"), ("locked out", "standby"), ("", "locked out")])
def test_the_register_neither_enters_nor_ends_a_lock_out(add, edit, now: str, wanted: str) -> None:
    motor = add(condition=now)
    with pytest.raises(RegisterErrors, match="own page"):
        edit(motor, why="because", condition=wanted)
    assert (motor.condition or "") == now
    assert edit(motor, service="brine").differences  # all else may be edited meanwhile


# swaps -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("cells", "swap"), [
    ({"amps": "25/12.5"}, False),
    ({"amps": "25/12.5", "fitted_on": "2020-05-03"}, False),
    ({"amps": "25/12.5", "fitted_on": "2020-05-05"}, True),
    ({"serial": "S-2", "fitted_on": "2026-11-24"}, True),
    ({"fitted_on": "2026-11-24"}, False),
    ({"service": "brine", "fitted_on": "2026-11-24"}, False),
], ids=str)
def test_new_figures_with_a_later_date_are_another_machine(add, edit, cells: dict[str, str], swap: bool) -> None:
    motor = add(**DUAL, connected_volts="460")
    first = motor.nameplate
    assert edit(motor, **cells).swap is swap
    assert len(motor.nameplates) == (2 if swap else 1)
    assert first.amps == (12.4 if swap or "amps" not in cells else 12.5)
    assert (motor.nameplate is not first) is swap


def test_a_reading_before_the_swap_keeps_the_plate_it_was_taken_under(add, edit) -> None:
    motor = add(**DUAL)
    first = motor.nameplate
    edit(motor, amps="25/12.5", fitted_on="2026-11-24")
    midnight = datetime(2026, 11, 24, 6, tzinfo=UTC)  # in Chicago
    assert motor.nameplate_at(midnight - timedelta(seconds=1)) is first
    assert motor.nameplate_at(midnight) is motor.nameplate is not first


def test_the_person_may_say_that_it_is_another_machine(add, edit) -> None:
    motor = add(amps="12")  # its day was never entered
    with pytest.raises(RegisterErrors) as caught:
        edit(motor, said=True, amps="13")
    assert caught.value.errors[0][0] == "fitted_on"
    assert edit(motor, said=True, amps="13", fitted_on="2026-11-23").swap
    assert (motor.nameplate.amps, len(motor.nameplates)) == (13.0, 2)


def test_the_person_may_say_that_a_later_date_only_corrects(add, edit) -> None:
    motor = add(**DUAL)
    assert not edit(motor, said=False, amps="25/12.5", fitted_on="2021-01-01").swap
    assert len(motor.nameplates) == 1


def test_a_corrected_date_cannot_pass_the_machine_before(add, edit) -> None:
    motor = add(**DUAL)
    edit(motor, amps="25/12.5", fitted_on="2026-11-20")
    with pytest.raises(RegisterErrors, match="2020-05-04"):
        edit(motor, fitted_on="2020-05-04")
    edit(motor, fitted_on="2020-05-05")
    assert motor.nameplate.amps_stamped == "25/12.5"


def test_after_a_swap_another_person_confirms_before_load_counts(session: Session, unit: Unit, supervisor: Person, add,
                                                                 edit) -> None:
    motor = add(**DUAL, connected_volts="460")
    assert plate_facts(motor.nameplate).rated_amps == 12.4  # a first plate needs no second person
    edit(motor, amps="25/12.5", fitted_on="2026-11-24")
    session.flush()
    assert plate_facts(motor.nameplate).amps_unknown_because == "plate not confirmed"
    with pytest.raises(RegisterErrors, match="Another person"):
        confirm_plate(session, motor, motor.nameplate, supervisor, NOW)
    other = make_person(session, unit)
    confirm_plate(session, motor, motor.nameplate, other, NOW)
    assert plate_facts(motor.nameplate).rated_amps == 12.5
    assert changes_of_motor(session, motor)[0].field == "confirmed"


def test_who_corrects_a_waiting_plate_may_not_confirm_it(session: Session, unit: Unit, add, edit) -> None:
    motor = add(**DUAL)
    edit(motor, amps="25/12.5", fitted_on="2026-11-24")
    other = make_person(session, unit, SUPERVISOR, "second")
    save_motor(session, unit, motor, {**cells_of(motor), "amps": "26/13"}, other, NOW)
    with pytest.raises(RegisterErrors, match="Another person"):
        confirm_plate(session, motor, motor.nameplate, other, NOW)


def test_the_columns_are_the_ones_outsiders_rely_on() -> None:
    eight = ("bearing", "lubrication", "lubricant", "thickener", "grease_g", "interval_days", "interval_run_h",
             "last_greased")
    assert list(COLUMNS) == [
        "tag", "service", "area", "route_order", "checked_every", "condition", "interlock", "ammeter",
        "standby_partner", "start_basis", "hp", "volts", "amps", "service_factor", "service_factor_amps", "phases",
        "hz", "rpm", "poles", "code_letter", "frame", "enclosure", "insulation_class", "ambient_c", "serial",
        "fitted_on", "connected_volts", "mounting", "load_wk2_lbft2", "written_starts_per_hour",
        "written_spacing_min", "written_run_min", "written_tries", *(f"de_{c}" for c in eight),
        *(f"ode_{c}" for c in eight), "remarks"]
