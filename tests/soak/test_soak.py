"""The short form of the long runs: a few kills, a few tablets, each fault once. `python -m tests.soak` has the full."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from http.client import HTTPConnection

import pytest

from tests import cluster
from tests.conftest import BOTH, POSTGRES, SQLITE
from tests.soak import killing, shift_change
from tests.soak.faults import Outcome
from tests.soak.place import Place, place
from tests.soak.senders import STORED, Ledger, Sender, body
from tests.soak.served import Ground

pytestmark = pytest.mark.slow
on_each = pytest.mark.parametrize("kind", BOTH)


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    try:
        with place(tmp_path_factory.mktemp("soak")) as made:
            yield made
    except cluster.NoPostgres as error:
        pytest.skip(str(error))


def holds(outcome: Outcome) -> None:
    assert outcome.stored > 0
    assert outcome.wrong == ""
    assert outcome.lost == []
    assert outcome.rows == outcome.sent == outcome.stored


@on_each
def test_an_acknowledged_entry_survives_the_server_being_killed_wherever_it_is(here: Place, kind: str) -> None:
    """Among the kills: before a commit, after one and before its answer, as the answer arrives."""
    ground = here.ground(kind)
    outcome = killing.kill_under_load(here.starter, ground, rounds=len(killing.WHERE))
    assert set(outcome.rounds) == set(killing.WHERE)
    assert outcome.after_commit == 1  # its answer was lost, and sent again it was there
    assert (outcome.lost, outcome.wrong) == (set(), "")
    assert outcome.rows == outcome.sent == outcome.stored
    assert ground.doctor() == ""


@on_each
def test_on_a_full_disk_nothing_acknowledged_is_lost_and_it_goes_on_by_itself(here: Place, kind: str) -> None:
    outcome = here.disk_full(kind)
    holds(outcome)
    assert "disk" in outcome.page
    assert any("disk" in says for says in outcome.refused)


@on_each
def test_where_nothing_may_be_written_nothing_acknowledged_is_lost_and_it_goes_on_by_itself(
        here: Place, kind: str) -> None:
    outcome = here.read_only(kind)
    holds(outcome)
    assert outcome.page == "The server may not write its data"
    assert any("may not write its data" in says for says in outcome.refused)


def test_the_database_goes_while_tablets_send_and_comes_back_and_each_entry_is_there_once(here: Place) -> None:
    outcome = here.database_away()
    holds(outcome)
    assert any("same entry is never kept twice" in says for says in outcome.refused)


@on_each
def test_the_servers_clock_jumps_by_hours_and_each_entry_is_taken_once(here: Place, kind: str) -> None:
    outcome = here.clock_jumps(kind)
    holds(outcome)
    assert outcome.refused == {}


def test_of_two_servers_on_one_database_one_is_killed_and_the_other_takes_its_tablets(here: Place) -> None:
    holds(here.one_of_two_killed())


def test_a_server_told_to_end_while_it_hands_on_a_request_answers_it_and_ends(here: Place) -> None:
    """An exception out of the signal would leave a thread asleep that the end waits for."""
    served = here.starter.serve(here.ground(SQLITE, crew=1), told_to_end=True)
    with closing(HTTPConnection("127.0.0.1", served.port, timeout=60)) as asking:
        asking.request("GET", "/livez")
        assert asking.getresponse().status == 200
    assert served.gone() == 0


@on_each
def test_every_tablets_queue_arrives_once_when_all_send_at_the_same_time(here: Place, kind: str) -> None:
    ground = here.ground(kind, crew=8)
    outcome = shift_change.all_at_once(ground, each=15)
    assert (outcome.rows, outcome.stored) == (120, 120)
    assert (outcome.refused, outcome.silent, outcome.wrong, outcome.lost) == ({}, 0, "", [])
    assert ground.doctor() == ""


def test_two_servers_on_one_database_keep_each_entry_once(here: Place) -> None:
    ground = here.ground(POSTGRES)
    ledger = Ledger()
    entries = [body(ground, i) for i in range(40)]
    servers = [here.starter.serve(ground), here.starter.serve(here.second(ground))]
    senders = [_with_all(ground, ledger, entries) for _ in range(4)]
    with ThreadPoolExecutor() as together:
        came = together.map(lambda i: senders[i].send(servers[i % 2].port), range(4))
        assert list(came) == [STORED] * 4
    for sender in senders:
        sender.close()
    for server in servers:
        server.stop()
    assert sorted(ground.stored()) == sorted(e["id"] for e in entries)
    assert ledger.acknowledged == {e["id"] for e in entries}


def _with_all(ground: Ground, ledger: Ledger, entries: list[dict[str, object]]) -> Sender:
    return Sender(ledger, "/api/v1/readings", {"Authorization": f"Bearer {ground.token}"}, lambda: entries, alone=False)
