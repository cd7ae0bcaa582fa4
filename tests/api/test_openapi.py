"""The door's own description holds: every route, every field, and what a machine makes of it at random."""

from __future__ import annotations

import re
import uuid
from typing import Any

import hypothesis
import pytest
import schemathesis
from flask import Flask
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    positive_data_acceptance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from app.api import schema
from tests.api.door import BASE, Door
from tests.entering import day, reading_body
from tests.factories import Plant

CHECKS = [not_a_server_error, content_type_conformance, negative_data_rejection, positive_data_acceptance,
          response_headers_conformance, response_schema_conformance, status_code_conformance, unsupported_method]


@pytest.fixture
def document(app: Flask) -> dict[str, Any]:
    return dict(app.test_client().get(BASE + "/openapi.json").get_json())


def test_every_route_of_the_door_is_described_and_no_other(app: Flask, document: dict[str, Any]) -> None:
    routes = {(re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule).removeprefix(BASE), method.lower())
              for rule in app.url_map.iter_rules() if rule.rule.startswith(BASE + "/")
              for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}}
    assert routes == {(path, method) for path, item in document["paths"].items() for method in item}
    assert {("/readings", "post"), ("/readings", "get"), ("/greasings", "post"), ("/starts", "post"),
            ("/stops", "post"), ("/trips", "post"), ("/motors", "get"), ("/motors/{tag}", "get"),
            ("/motors/{tag}/start-permission", "get"), ("/flags", "get"), ("/exceptions", "get"), ("/limits", "get"),
            } <= routes


def test_every_operation_says_what_it_takes_gives_and_refuses(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")
    for path, item in document["paths"].items():
        for method, told in item.items():
            if path == "/openapi.json":
                assert told["security"] == []
                continue
            answers = set(told["responses"])
            assert told["summary"].endswith(".") or told["summary"].endswith("?"), path
            if method == "get":
                assert answers == {"200", "400", "401", "404", "429", "503"}
                assert told["responses"]["200"]["content"]["application/json"]["schema"]
            else:
                assert answers == {"200", "201", "400", "401", "403", "409", "413", "415", "422", "429", "503"}
                assert told["requestBody"]["required"] is True
            assert all("application/problem+json" in a["content"]
                       for status, a in told["responses"].items() if status >= "400")
    assert document["components"]["securitySchemes"] == {"token": {
        "type": "http", "scheme": "bearer", "description": "A unit's token; scope read, or record, which includes "
                                                           "read."}}


def test_every_shape_that_is_named_is_described_and_used(document: dict[str, Any]) -> None:
    used = set(re.findall(r"#/components/schemas/(\w+)", str(document)))
    assert used == set(document["components"]["schemas"]) == set(schema.NAMED)


def test_a_sent_object_takes_no_field_that_is_not_listed(document: dict[str, Any]) -> None:
    for name in schema.READ_BY:
        assert document["components"]["schemas"][name]["additionalProperties"] is False


# at random --------------------------------------------------------------------------------------------------


@pytest.fixture
def described(app: Flask, plant: Plant, door: Door) -> Any:
    """The description as a machine reads it, of a plant with something on record; requests stay in this process."""
    door.send(reading_body(smoke="seen", current_a=[92.0], bearing_temp_c={"DE": 95.0, "ODE": "could not read"}))
    config = schemathesis.Config.from_dict({"generation": {"allow-x00": False}, "seed": 7})
    return schemathesis.openapi.from_wsgi(BASE + "/openapi.json", app, config=config)


def of_the_plant(case: Any) -> None:
    """What is of the right shape names a motor, a person and times that are there; what is corrected is not.

    A list is answered with 200 whatever its items are, each on its own: nothing of the wrong shape is looked for there.
    """
    body = case.body
    if case.meta.generation.mode.is_negative:
        hypothesis.assume(not isinstance(body, list))
        return
    fixed = {"from": day(-1).isoformat(), "to": day(1).isoformat(), "at": day(0).isoformat(), "week": "2026-W48"}
    case.query = {name: fixed.get(name, value) for name, value in (case.query or {}).items()}
    if not isinstance(body, dict):
        return
    body.update(id=str(uuid.uuid4()), tag="P-101A", by="operator", device_now=None)
    body[("taken_at" if "taken_at" in body else "at")] = day(0, hours=-1).isoformat()
    if "replaces" in body or "replaces_why" in body:
        body.update(replaces=None, replaces_why=None)


OPERATIONS = [
    ("/readings", "POST"), ("/readings", "GET"), ("/greasings", "POST"), ("/starts", "POST"), ("/stops", "POST"),
    ("/trips", "POST"), ("/motors", "GET"), ("/motors/{tag}", "GET"), ("/motors/{tag}/start-permission", "GET"),
    ("/flags", "GET"), ("/exceptions", "GET"), ("/limits", "GET"), ("/openapi.json", "GET"),
]


def test_every_operation_is_tried_at_random(document: dict[str, Any]) -> None:
    assert set(OPERATIONS) == {(path, m.upper()) for path, item in document["paths"].items() for m in item}


@pytest.mark.slow
@pytest.mark.parametrize("mode", list(GenerationMode), ids=["right", "wrong"])
@pytest.mark.parametrize(("path", "method"), OPERATIONS[:-1])
def test_the_door_does_what_its_description_says(described: Any, door: Door, path: str, method: str,
                                                 mode: GenerationMode) -> None:
    @hypothesis.settings(max_examples=25, deadline=None, derandomize=True, database=None,
                         suppress_health_check=list(hypothesis.HealthCheck))
    @hypothesis.given(described[path][method].as_strategy(generation_mode=mode))
    def send(case: Any) -> None:
        of_the_plant(case)
        case.call_and_validate(headers={**door.headers, "Accept-Encoding": "identity"}, checks=CHECKS)

    send()
