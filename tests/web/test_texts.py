"""Text is text: whatever is typed is stored and shown as it stands, or refused with the words kept; never a 500."""

from __future__ import annotations

import uuid

import pytest
from flask.testing import FlaskClient

from app.db import Database
from tests.conftest import Clock, on_both
from tests.factories import SECRET, Plant, post_form, sign_in, try_sign_in
from tests.web.at_motor import enter, fields_of, flags_of, greased_lately, readings_of, words_of

NASTY = {
    "letters of many scripts": "Lager läuft heiß, шум у муфты, 轴承过热, الزيت منخفض",
    "emoji": "🔥 hot 🧑🏽‍🔧",
    "script": "<script>alert(1)</script>",
    "image": "<img src=x onerror=alert(1)>",
    "attribute": "\" onfocus=alert(1) autofocus x=\"",
    "quotes": "'; DROP TABLE reading; -- \" ` ´",
    "template": "{{ 7*7 }} {% raw %} ${7*7}",
    "markdown": "[x](javascript:alert(1))",
    "formula": "=HYPERLINK(\"http://evil.example\")",
    "two lines": "first\nsecond",
    "right to left": "\u202eabc",
}
#: typed -> as it is stored
CLEANED = {"control characters": ("a\x00b\x07c\x1bd\x7f", "abcd"),
           "line ends": ("one\r\ntwo\rthree", "one\ntwo\nthree"),
           "half a letter": ("a\ud800b".encode("utf-8", "surrogatepass").decode("utf-8", "replace"), None),
           "two ways to write é": ("e\u0301", "\u00e9"), "blanks around": ("  x  ", "x")}


@pytest.fixture
def head(plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.head_operator)


@pytest.mark.parametrize("text", NASTY.values(), ids=NASTY.keys())
def test_what_is_typed_is_shown_as_text_on_every_page(
        head: FlaskClient, plant: Plant, app_database: Database, text: str) -> None:
    saved = enter(head, plant.motor, amps_1="92", remarks=text)
    post_form(head, f"/motors/{plant.motor.id}/skip", {"id": str(uuid.uuid4()), "words": text})
    flag = flags_of(app_database, plant.motor)[0]
    post_form(head, f"/flags/{flag.id}/done", {"version": "1", "text": text})
    post_form(head, f"/motors/{plant.motor.id}/grease", {
        "id": str(uuid.uuid4()), "end": "DE", "lubricant": text, "grams": "0", "why": text})
    post_form(head, f"/motors/{plant.motor.id}/condition", {
        "condition": "locked out", "lock_tag": text, "lock_owner": text, "why": text})
    assert {r.remarks or r.skip_reason for r in readings_of(app_database, plant.motor)} == {text}
    for path in (saved.location, f"/motors/{plant.motor.id}", f"/review?open={flag.id}", f"/flags/{flag.id}", "/sheet",
                 f"/motors/{plant.motor.id}/entry"):
        answer = head.get(path)
        assert answer.status_code == 200, path
        source = answer.get_data(as_text=True)
        assert "<script>alert" not in source, path
        assert "<img src=x" not in source, path
        assert '" onfocus=' not in source, path
    for path in (saved.location, f"/motors/{plant.motor.id}", f"/review?open={flag.id}"):
        page = " ".join(words_of(head.get(path)).split())
        assert " ".join(text.split()) in page or "<" in text, path


@on_both
def test_what_no_screen_can_show_is_taken_out_and_the_rest_kept(
        head: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    for typed, _ in CLEANED.values():
        assert enter(head, plant.motor, remarks=typed).status_code == 303, ascii(typed)
        clock.advance(seconds=1)
    assert [r.remarks for r in readings_of(app_database, plant.motor)] == [
        typed if stored is None else stored for typed, stored in CLEANED.values()]


@on_both
def test_letters_of_many_scripts_and_emoji_come_back_as_they_went_in(
        head: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    for text in NASTY.values():
        enter(head, plant.motor, remarks=text)
        clock.advance(seconds=1)
    assert [r.remarks for r in readings_of(app_database, plant.motor)] == list(NASTY.values())


@pytest.mark.parametrize(("length", "status"), [(2000, 303), (2001, 422), (100_000, 422)])
def test_remarks_of_two_thousand_characters_are_taken_and_longer_ones_refused_and_kept(
        head: FlaskClient, plant: Plant, length: int, status: int) -> None:
    text = ("läuft rau; " * (length // 11 + 1))[:length - 1] + "x"
    answer = enter(head, plant.motor, remarks=text)
    assert answer.status_code == status
    if status == 422:
        assert fields_of(answer)["remarks"] == text
        assert "Keep remarks to 2,000 characters." in words_of(answer)


def test_line_ends_count_once_however_the_browser_sends_them(head: FlaskClient, plant: Plant) -> None:
    assert enter(head, plant.motor, remarks="\r\n".join(["x"] * 1000)).status_code == 303  # 1,999 as stored


@pytest.mark.parametrize(("length", "status"), [(200, 303), (201, 422)])
def test_a_reason_for_skipping_that_is_too_long_is_refused_and_kept(
        head: FlaskClient, plant: Plant, length: int, status: int) -> None:
    text = "x" * length
    answer = post_form(head, f"/motors/{plant.motor.id}/skip", {"id": str(uuid.uuid4()), "words": text})
    assert answer.status_code == status
    if status == 422:
        assert fields_of(answer)["words"] == text
        assert "This has 201 characters; 200 is the most." in words_of(answer)


@on_both
def test_any_sign_in_name_is_answered_and_none_gets_in(plant: Plant, client: FlaskClient) -> None:
    for name in [*NASTY.values(), "a\x00b", "\x00", "x" * 80, "İ", "ß" * 40]:
        answer = try_sign_in(client, name, SECRET)
        assert answer.status_code in (400, 401), name
        assert "<script>alert" not in answer.get_data(as_text=True), name


@on_both
def test_any_secret_is_answered_and_none_gets_in(plant: Plant, client: FlaskClient) -> None:
    for secret in ("\x00", "a\x00b", "🔥" * 12, "\ud7ff"):
        assert try_sign_in(client, "operator", secret).status_code == 401, secret


@pytest.mark.parametrize("path", ["/sign-in?next=%00", "/motors?q=%00", "/motors?q=%ff", "/review?open=%00",
                                  "/review?round=%00", "/screen/%00", "/%00", "/entries/%00", "/motors/%00"])
def test_no_address_makes_the_server_fail(head: FlaskClient, path: str) -> None:
    assert head.get(path).status_code < 500


@on_both
@pytest.mark.parametrize("path", ["/changes?what=%00", "/changes?words=%00", "/settings/limits?motor=%00", "/m/%00"])
def test_a_character_that_no_text_holds_makes_no_page_of_the_supervisor_fail(
        client: FlaskClient, plant: Plant, path: str) -> None:
    assert sign_in(client, plant.supervisor).get(path).status_code in (200, 404)
