"""The register's pages as the supervisor uses them: what was typed stays, nothing is overwritten or guessed."""

from __future__ import annotations

import html
import io
import re
from datetime import timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.store import register
from app.store.changes import Change
from app.store.motors import Motor, motor_by_tag
from app.store.register_columns import COLUMNS
from app.store.register_file import import_register
from tests import factories
from tests.conftest import Clock, on_both
from tests.factories import NOW, Plant, make_person, make_unit, post_form, sign_in


class Page(HTMLParser):
    """The main form of a page as a browser would send it, and the page's links to its own fields."""

    def __init__(self, answer: TestResponse) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self.inputs: set[str] = set()
        self.ids: set[str] = set()
        self.links: set[str] = set()
        self._select = self._area = ""
        self._in_main = False
        self.text = answer.get_data(as_text=True)
        self.feed(self.text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        a = {k: v or "" for k, v in attrs}
        self._in_main |= tag == "main"
        if "id" in a:
            self.ids.add(a["id"])
        if tag == "a" and a.get("href", "").startswith("#"):
            self.links.add(a["href"][1:])
        if not self._in_main:
            return
        if tag == "input" and "name" in a:
            self.fields[a["name"]] = a.get("value", "")
            self.inputs.add(a["name"])
        if tag in ("select", "textarea"):
            self.fields[a["name"]] = ""
            self.inputs.add(a["name"])
            self._select, self._area = (a["name"], "") if tag == "select" else ("", a["name"])
        if tag == "option" and "selected" in a and self._select:
            self.fields[self._select] = a.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("select", "textarea"):
            self._select = self._area = ""

    def handle_data(self, data: str) -> None:
        if self._area:
            self.fields[self._area] += data

    @property
    def title(self) -> str:
        found = re.search(r"<title>(.*?)</title>", self.text, re.DOTALL)
        return html.unescape(found[1]) if found else ""


@pytest.fixture
def supervisor(client: FlaskClient, plant: Plant) -> FlaskClient:
    return sign_in(client, plant.supervisor)


@pytest.fixture
def edit_path(plant: Plant) -> str:
    return f"/register/{plant.motor.id}/edit"


def stored(database: Database, tag: str, unit_id: int) -> dict[str, str]:
    with database.reading() as session:
        motor = motor_by_tag(session, unit_id, tag)
        assert motor is not None, tag
        return register.cells_of(motor)


def changed(database: Database, plant: Plant, **cells: str) -> None:
    """Somebody else saves the plant's motor."""
    with database.writing() as session:
        motor = session.get_one(Motor, plant.motor.id)
        after = {**register.cells_of(motor), **cells}
        register.save_motor(session, motor.unit, motor, after, None, NOW + timedelta(minutes=1))
        session.commit()


def opened(client: FlaskClient, path: str) -> dict[str, str]:
    return Page(client.get(path)).fields


def save(client: FlaskClient, path: str, fields: dict[str, Any]) -> TestResponse:
    return client.post(path, data=fields)


# who may ---------------------------------------------------------------------------------------------------

PAGES = ["/register", "/register/add", "/register/import", "/register/register.csv", "/register/1", "/register/1/edit"]


@pytest.mark.parametrize("path", PAGES)
def test_only_a_supervisor_keeps_the_register(client: FlaskClient, plant: Plant, path: str) -> None:
    sign_in(client, plant.head_operator)
    assert client.get(path).status_code == 403


@pytest.mark.parametrize("path", ["/register/{}", "/register/{}/edit", "/register/{}/plate"])
def test_another_units_motor_does_not_exist_here(supervisor: FlaskClient, app_database: Database, path: str) -> None:
    with app_database.writing() as session:
        other = factories.make_motor(session, make_unit(session, "Unit 3"), "X-1")
        session.commit()
    assert supervisor.get(path.format(other.id)).status_code == 404
    assert post_form(supervisor, f"/register/{other.id}/edit", {"tag": "Y-1", "version": "1"}).status_code == 404


# the list --------------------------------------------------------------------------------------------------


def test_an_empty_register_says_what_to_do(client: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        lone = make_person(session, make_unit(session), "supervisor")
        session.commit()
    page = sign_in(client, lone).get("/register").get_data(as_text=True)
    assert "No motor is in the register yet" in page and "/register/import" in page


@on_both
def test_the_list_walks_the_route_and_shows_what_matters(supervisor: FlaskClient, app_database: Database,
                                                         plant: Plant) -> None:
    with app_database.writing() as session:
        unit = session.merge(plant.unit, load=False)
        import_register(session, unit, (
            b"tag,area,route_order,volts,amps,interlock,service,de_lubricant\n"
            b"LAST,Tower,,,,,,\n"
            b"SECOND,Feed,2,230/460,24.8/12.4,low-voltage release,<b>brine</b>,polyurea\n"), None, NOW)
        session.commit()
    text = supervisor.get("/register").get_data(as_text=True)
    assert text.index("P-101A") < text.index("SECOND") < text.index("LAST")
    for words in ("87 A", "SF 1.15", "75 hp", "connected voltage not chosen", "restarts by itself", "polyurea",
                  "&lt;b&gt;brine&lt;/b&gt;"):
        assert words in text, words


def test_a_plate_not_chosen_says_so_on_the_motors_page(supervisor: FlaskClient, plant: Plant, edit_path: str) -> None:
    fields = opened(supervisor, edit_path) | {"volts": "230/460", "amps": "174/87", "connected_volts": ""}
    save(supervisor, edit_path, fields)
    text = supervisor.get(f"/register/{plant.motor.id}").get_data(as_text=True)
    assert "no load in percent until it is" in text and "not chosen" in text
    save(supervisor, edit_path, opened(supervisor, edit_path) | {"connected_volts": "460"})
    text = supervisor.get(f"/register/{plant.motor.id}").get_data(as_text=True)
    assert "no load in percent" not in text and "174 A" in text and "87 A" in text


# adding ----------------------------------------------------------------------------------------------------


def test_nothing_is_filled_in_beforehand(supervisor: FlaskClient) -> None:
    fields = opened(supervisor, "/register/add")
    assert not [name for name, value in fields.items() if value and name not in ("csrf_token", "version", "was")]


def test_a_motor_is_added_with_all_that_was_typed(supervisor: FlaskClient, app_database: Database,
                                                  plant: Plant) -> None:
    typed = {"tag": "BP-211", "area": "Brine", "hp": "7 1/2", "volts": "230/460", "amps": "24,8/12,4",
             "connected_volts": "460", "service_factor": "1.15", "interlock": "low-voltage release", "ambient": "40",
             "de_lubrication": "grease", "de_lubricant": "polyurea", "de_grease_g": "0.0047", "remarks": "a\r\nb"}
    answer = save(supervisor, "/register/add", opened(supervisor, "/register/add") | typed)
    assert answer.status_code == 303
    cells = stored(app_database, "BP-211", plant.unit.id)
    expected = {k: v for k, v in typed.items() if k != "ambient"} | {
        "ambient_c": "40", "remarks": "a\nb", "checked_every": "shift", "start_basis": "general practice"}
    assert {n: c for n, c in cells.items() if c} == expected


def test_the_same_form_twice_is_one_motor(supervisor: FlaskClient, app_database: Database) -> None:
    fields = opened(supervisor, "/register/add") | {"tag": "BP-211", "area": "Brine", "amps": "12"}
    first, second = (save(supervisor, "/register/add", fields) for _ in range(2))
    assert first.location == second.location and second.status_code == 303
    with app_database.reading() as session:
        assert session.query(Motor).filter_by(tag="BP-211").count() == 1


def test_another_motor_under_a_known_tag_is_refused(supervisor: FlaskClient) -> None:
    answer = save(supervisor, "/register/add", opened(supervisor, "/register/add") | {"tag": "p–101a", "area": "Brine"})
    assert answer.status_code == 400
    assert "P-101A is in the register already" in answer.get_data(as_text=True)


def test_errors_stand_at_their_fields_and_what_was_typed_stays(supervisor: FlaskClient, app_database: Database) -> None:
    typed = {"tag": "BP-211", "amps": "24,8,1", "hp": "1/0", "volts": "460 V", "fitted_on": "24/11/2026",
             "ambient": "warm", "de_grease_g": "12 g", "service": '<i onfocus="x">', "interlock": "low-voltage release"}
    answer = save(supervisor, "/register/add", opened(supervisor, "/register/add") | typed)
    page = Page(answer)
    assert answer.status_code == 400
    assert page.title.startswith("Error:")
    assert {k: page.fields[k] for k in typed} == typed
    wrong = {"area", "amps", "hp", "volts", "fitted_on", "ambient", "de_grease_g"}
    assert page.links >= wrong and page.links <= page.ids
    assert {f"{name}-error" for name in wrong} <= page.ids
    with app_database.reading() as session:
        assert session.query(Motor).filter_by(tag="BP-211").count() == 0


@pytest.mark.parametrize("typed", ["nan", "inf", "1e309", "9" * 400])
def test_no_number_that_is_none_reaches_the_register(supervisor: FlaskClient, typed: str) -> None:
    fields = opened(supervisor, "/register/add") | {"tag": "A", "area": "B", "amps": typed}
    answer = save(supervisor, "/register/add", fields)
    assert answer.status_code == 400 and "amps-error" in answer.get_data(as_text=True)


# editing ---------------------------------------------------------------------------------------------------


@on_both
def test_a_form_saved_untouched_changes_nothing(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                edit_path: str) -> None:
    changed(app_database, plant, route_order="1.2340", de_grease_g="0.0047", ambient_c="40.5", remarks="a\nb")
    before = stored(app_database, "P-101A", plant.unit.id)
    with app_database.reading() as session:
        count = session.query(Change).count()
    fields = opened(supervisor, edit_path)
    assert fields["de_grease_g"] == "0.0047"
    assert save(supervisor, edit_path, fields | {"remarks": "a\r\nb"}).status_code == 303
    assert stored(app_database, "P-101A", plant.unit.id) == before
    with app_database.reading() as session:
        assert session.query(Change).count() == count


def test_a_rated_ambient_is_typed_in_the_units_own_scale(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                         edit_path: str) -> None:
    post_form(supervisor, "/settings/unit", {"temperature": "F"})
    fields = opened(supervisor, edit_path)
    assert fields["ambient"] == "104"  # 40 °C
    save(supervisor, edit_path, fields | {"ambient": "105"})
    assert stored(app_database, "P-101A", plant.unit.id)["ambient_c"] == "40.555556"  # (105 − 32) ÷ 1.8
    fields = opened(supervisor, edit_path)
    assert fields["ambient"] == "105"
    save(supervisor, edit_path, fields | {"service": "brine"})
    assert stored(app_database, "P-101A", plant.unit.id)["ambient_c"] == "40.555556"


def test_a_field_the_page_did_not_have_is_left_alone(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                     edit_path: str) -> None:
    answer = post_form(supervisor, edit_path, {"service": "brine", "version": "1"})
    assert answer.status_code == 303
    cells = stored(app_database, "P-101A", plant.unit.id)
    assert (cells["service"], cells["amps"], cells["interlock"]) == ("brine", "87", "low-voltage protection")


def test_what_somebody_else_saved_is_shown_and_never_overwritten(supervisor: FlaskClient, app_database: Database,
                                                                 plant: Plant, edit_path: str) -> None:
    fields = opened(supervisor, edit_path)
    changed(app_database, plant, service="theirs", amps="90")
    answer = save(supervisor, edit_path, fields | {"service": "mine", "frame": "405T"})
    page = Page(answer)
    assert answer.status_code == 409
    assert "feed pump → theirs" in page.text and "theirs → mine" in page.text and "87 → 90" in page.text
    assert stored(app_database, "P-101A", plant.unit.id)["service"] == "theirs"
    assert (page.fields["service"], page.fields["frame"], page.fields["amps"]) == ("mine", "405T", "90")
    assert save(supervisor, edit_path, page.fields).status_code == 303
    cells = stored(app_database, "P-101A", plant.unit.id)
    assert (cells["service"], cells["frame"], cells["amps"]) == ("mine", "405T", "90")


def test_a_condition_seen_meanwhile_is_not_put_back(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                    edit_path: str) -> None:
    fields = opened(supervisor, edit_path)
    with app_database.writing() as session:
        motor = session.get_one(Motor, plant.motor.id)
        motor.condition, motor.condition_at = "standby", NOW
        session.commit()
    assert save(supervisor, edit_path, fields | {"service": "brine"}).status_code == 303
    assert stored(app_database, "P-101A", plant.unit.id)["condition"] == "standby"


def test_a_lock_out_is_ended_elsewhere_with_its_owner(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                     edit_path: str) -> None:
    with app_database.writing() as session:
        motor = session.get_one(Motor, plant.motor.id)
        motor.condition, motor.lock_tag = "locked out", "4471"
        session.commit()
    answer = save(supervisor, edit_path, opened(supervisor, edit_path) | {"condition": "running", "why": "done"})
    assert answer.status_code == 400 and "condition-error" in Page(answer).ids
    assert stored(app_database, "P-101A", plant.unit.id)["condition"] == "locked out"


def test_amps_far_from_the_plates_size_are_asked_not_refused(supervisor: FlaskClient, plant: Plant,
                                                             edit_path: str) -> None:
    # 75 hp at 460 V: 96 A in NFPA 70, Table 430.250; 30 A is 69 % below it
    assert save(supervisor, edit_path, opened(supervisor, edit_path) | {"amps": "30"}).status_code == 303
    assert "Is this right?" in supervisor.get(f"/register/{plant.motor.id}").get_data(as_text=True)


def test_the_changes_are_shown_with_who_and_why(supervisor: FlaskClient, plant: Plant, edit_path: str) -> None:
    save(supervisor, edit_path, opened(supervisor, edit_path) | {"service": "brine", "why": "renamed"})
    text = supervisor.get(f"/register/{plant.motor.id}").get_data(as_text=True)
    for words in ("feed pump", "brine", "renamed", "Supervisor"):
        assert words in text


# swap ------------------------------------------------------------------------------------------------------


def test_after_a_swap_a_second_person_confirms_the_plate(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                         edit_path: str) -> None:
    answer = save(supervisor, edit_path, opened(supervisor, edit_path) | {"amps": "96", "fitted_on": "2026-11-23"})
    assert answer.status_code == 303
    path = f"/register/{plant.motor.id}"
    assert "Plate not confirmed" in supervisor.get(path).get_data(as_text=True)
    own = Page(supervisor.get(f"{path}/plate"))
    assert "Ask another person" in own.text and "plate" not in own.inputs
    operator = sign_in(supervisor.application.test_client(), plant.operator)
    page = Page(operator.get(f"{path}/plate"))
    assert save(operator, f"{path}/confirm", page.fields).status_code == 303
    assert "Plate not confirmed" not in supervisor.get(path).get_data(as_text=True)
    with app_database.reading() as session:
        plate = session.get_one(Motor, plant.motor.id).nameplate
        assert (plate.confirmed_by_id, plate.amps) == (plant.operator.id, 96.0)


def test_who_entered_a_plate_cannot_confirm_it(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                               edit_path: str) -> None:
    save(supervisor, edit_path, opened(supervisor, edit_path) | {"amps": "96", "fitted_on": "2026-11-23"})
    with app_database.reading() as session:
        motor = session.get_one(Motor, plant.motor.id)
        fields = {"plate": str(motor.nameplate.id), "version": str(motor.version)}
    post_form(supervisor, f"/register/{plant.motor.id}/confirm", fields)
    with app_database.reading() as session:
        assert session.get_one(Motor, plant.motor.id).nameplate.confirmed_at is None


def test_a_plate_changed_meanwhile_is_not_confirmed(supervisor: FlaskClient, app_database: Database, plant: Plant,
                                                    edit_path: str) -> None:
    save(supervisor, edit_path, opened(supervisor, edit_path) | {"amps": "96", "fitted_on": "2026-11-23"})
    operator = sign_in(supervisor.application.test_client(), plant.operator)
    fields = opened(operator, f"/register/{plant.motor.id}/plate")
    save(supervisor, edit_path, opened(supervisor, edit_path) | {"amps": "69"})
    answer = operator.post(f"/register/{plant.motor.id}/confirm", data=fields, follow_redirects=True)
    assert "changed meanwhile" in answer.get_data(as_text=True)
    with app_database.reading() as session:
        assert session.get_one(Motor, plant.motor.id).nameplate.confirmed_at is None


# import and export -----------------------------------------------------------------------------------------


def send(client: FlaskClient, data: bytes) -> TestResponse:
    return client.post("/register/import", data={
        "csrf_token": factories.form_token(client), "file": (io.BytesIO(data), "register.csv")})


@on_both
def test_an_import_says_what_it_would_do_and_then_does_it(supervisor: FlaskClient, app_database: Database,
                                                          plant: Plant) -> None:
    there = supervisor.get("/register/register.csv").data
    answer = send(supervisor, there.replace(b",87,", b",88,") + b"NEW-1,,Brine" + b"," * 47 + b"\r\n")
    page = Page(answer)
    assert answer.status_code == 200
    assert "NEW-1" in page.text and "<td class=\"any\">87</td><td class=\"any\">88</td>" in page.text
    assert stored(app_database, "P-101A", plant.unit.id)["amps"] == "87"
    assert save(supervisor, "/register/import/confirm", page.fields).status_code == 303
    assert stored(app_database, "P-101A", plant.unit.id)["amps"] == "88"
    assert stored(app_database, "NEW-1", plant.unit.id)["area"] == "Brine"
    with app_database.reading() as session:
        assert {c.by for c in session.query(Change).all()} == {"Supervisor"}


def test_bad_rows_are_listed_and_nothing_is_offered_to_confirm(supervisor: FlaskClient, app_database: Database,
                                                               plant: Plant) -> None:
    answer = send(supervisor, b"tag,area,amps\nA,,24;8\nA,x,<b>\n")
    page = Page(answer)
    assert answer.status_code == 400 and page.title.startswith("Error:")
    assert "4 things to put right" in page.text and "&lt;b&gt;" in page.text and "file" not in page.inputs
    with app_database.reading() as session:
        assert session.query(Motor).count() == 1


def test_a_register_changed_between_the_steps_is_shown_again(supervisor: FlaskClient, app_database: Database,
                                                             plant: Plant) -> None:
    data = supervisor.get("/register/register.csv").data.replace(b",87,", b",88,")
    fields = Page(send(supervisor, data)).fields
    changed(app_database, plant, amps="90")
    answer = save(supervisor, "/register/import/confirm", fields)
    assert answer.status_code == 409 and "changed meanwhile" in answer.get_data(as_text=True)
    assert stored(app_database, "P-101A", plant.unit.id)["amps"] == "90"


@pytest.mark.parametrize("packed", ["", "!!!", "eJw=", "bm90IGEgZmlsZQ=="])
def test_a_file_field_of_somebodys_making_is_not_read(supervisor: FlaskClient, packed: str) -> None:
    answer = post_form(supervisor, "/register/import/confirm", {"file": packed, "shown": "x"})
    assert answer.status_code == 400


def test_no_file_chosen_says_so(supervisor: FlaskClient) -> None:
    answer = post_form(supervisor, "/register/import", {})
    assert answer.status_code == 400 and "Choose a CSV file" in answer.get_data(as_text=True)


def test_the_download_is_the_register_with_its_header(supervisor: FlaskClient) -> None:
    answer = supervisor.get("/register/register.csv")
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert "attachment" in answer.headers["Content-Disposition"]
    assert answer.data.decode("utf-8-sig").splitlines()[0] == ",".join(COLUMNS)


@pytest.mark.parametrize("path", ["/register", "/register/add", "/register/import", "/register/1", "/register/1/edit"])
def test_no_page_holds_style_or_script_of_its_own(supervisor: FlaskClient, path: str) -> None:
    text = supervisor.get(path).get_data(as_text=True)
    assert not re.search(r"<style|<script(?![^>]*src)|\sstyle=|\son\w+=", text)


def test_a_later_clock_is_the_one_noted(supervisor: FlaskClient, app_database: Database, plant: Plant, edit_path: str,
                                        clock: Clock) -> None:
    later = clock.advance(hours=3)
    save(supervisor, edit_path, opened(supervisor, edit_path) | {"condition": "out of service"})
    with app_database.reading() as session:
        motor = session.get_one(Motor, plant.motor.id)
        assert (motor.condition, motor.condition_at) == ("out of service", later)


def send_whole(client: FlaskClient, data: bytes) -> TestResponse:
    """The same form as one body, for a file so large that the test client would put it into a file of its own."""
    fields = (b'--x\r\nContent-Disposition: form-data; name="csrf_token"\r\n\r\n%s\r\n'
              b'--x\r\nContent-Disposition: form-data; name="file"; filename="register.csv"\r\n\r\n%s\r\n--x--\r\n')
    return client.post("/register/import", data=fields % (factories.form_token(client).encode(), data),
                       content_type="multipart/form-data; boundary=x")


def test_a_long_file_tells_how_far_it_is_and_then_what_it_would_do(supervisor: FlaskClient,
                                                                   app_database: Database) -> None:
    data = b"tag,area,remarks\n" + b"".join(b"M-%d,North,%s\n" % (i, b"x" * 1900) for i in range(1200))
    page = Page(send_whole(supervisor, data))  # 2.3 MB: a register may be larger than other forms
    assert "Rows read: 0 of 1200" in page.text and "Rows read: 1000 of 1200" in page.text
    assert "<b>1200</b> added" in page.text
    done = save(supervisor, "/register/import/confirm", page.fields).get_data(as_text=True)
    assert "Motors written: 1000 of 1200" in done and "Imported: 1200 added, 0 changed, 0 unchanged." in done
    again = Page(save(supervisor, "/register/import/confirm", page.fields))
    assert "changed meanwhile" in again.text and "holds nothing new" in again.text
    with app_database.reading() as session:
        assert session.query(Motor).count() == 1201


def test_a_long_file_with_one_bad_row_is_not_taken(supervisor: FlaskClient, app_database: Database) -> None:
    data = b"tag,area\n" + b"".join(b"M-%d,North\n" % i for i in range(1200)) + b"M-7,North\n"
    page = Page(send(supervisor, data))
    assert "Not imported" in page.text and "1 thing to put right" in page.text and "file" not in page.inputs
    with app_database.reading() as session:
        assert session.query(Motor).count() == 1
