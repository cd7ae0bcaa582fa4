"""The short form of the long runs: a few kills, a few tablets. `python -m tests.soak` has the full one."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests import cluster
from tests.conftest import BOTH, POSTGRES
from tests.soak import killing, shift_change
from tests.soak.served import Ground, Sender, body, lay_ground, serving

pytestmark = pytest.mark.slow


@pytest.fixture(params=BOTH)
def ground(request: pytest.FixtureRequest, tmp_path: Path) -> Ground:
    if request.param != POSTGRES:
        return lay_ground(tmp_path / "instance")
    server: cluster.Server = request.getfixturevalue("postgres")
    return lay_ground(tmp_path / "instance", server.make())


def test_an_acknowledged_entry_survives_the_server_being_killed(ground: Ground) -> None:
    outcome = killing.kill_under_load(ground, rounds=3)
    assert outcome.acknowledged > 0
    assert (outcome.lost, outcome.doubled) == (0, 0)
    assert killing.send_again(ground) == outcome.sent
    assert ground.doctor() == ""


def test_every_tablets_queue_arrives_once_when_all_send_at_the_same_time(ground: Ground) -> None:
    outcome = shift_change.all_at_once(ground, tablets=8, each=20)
    assert (outcome.rows, outcome.unanswered) == (160, 0)
    assert ground.doctor() == ""


def test_two_servers_on_one_database_keep_each_entry_once(tmp_path: Path, postgres: cluster.Server) -> None:
    ground = lay_ground(tmp_path / "instance", postgres.make())
    second = Ground(tmp_path / "second", ground.url, ground.token, ground.tags)
    second.folder.mkdir()
    with serving(ground) as one, serving(second) as two:
        entries = [body(ground, i) for i in range(40)]
        senders = [Sender(ground, port) for port in (one.port, two.port, one.port, two.port)]
        with ThreadPoolExecutor() as together:
            assert list(together.map(lambda sender: sender.post(entries), senders)) == [True] * 4
        for sender in senders:
            sender.close()
    assert sorted(ground.stored()) == sorted(e["id"] for e in entries)
    assert ground.acknowledged == {e["id"] for e in entries}
