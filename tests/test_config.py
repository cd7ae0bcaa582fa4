"""Where things live and how a server is set up: named faults, one secret, every setting explained."""

from __future__ import annotations

import os
import stat
import threading
import tomllib
from dataclasses import fields
from pathlib import Path

import pytest

from app.config import BadSetting, NoInstance, Settings, instance_folder, load

EXAMPLE = Path(__file__).resolve().parent.parent / "instance.example" / "config.toml"
IN_FILE = sorted({f.name for f in fields(Settings)} - {"instance", "extra"})


@pytest.fixture(autouse=True)
def _own_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in [n for n in os.environ if n.startswith("ROUND_SHEET_")]:
        monkeypatch.delenv(name)
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def instance(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "plant"
    folder.mkdir()
    monkeypatch.setenv("ROUND_SHEET_INSTANCE", str(folder))
    return folder


def test_the_instance_is_the_folder_of_that_name_here_unless_another_is_named(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert instance_folder() == tmp_path / "instance"
    monkeypatch.setenv("ROUND_SHEET_INSTANCE", "elsewhere")
    assert instance_folder() == tmp_path / "elsewhere"


def test_a_command_that_may_not_make_an_instance_says_which_may(tmp_path: Path) -> None:
    with pytest.raises(NoInstance, match=r"round-sheet serve.*ROUND_SHEET_INSTANCE"):
        load()
    assert list(tmp_path.iterdir()) == []


def test_a_new_instance_is_for_its_owner_only(tmp_path: Path) -> None:
    assert load(create=True).instance == tmp_path / "instance"
    assert (tmp_path / "instance").stat().st_mode & 0o007 == 0


def test_the_database_is_the_file_in_the_instance_unless_another_is_named(instance: Path) -> None:
    assert load().url == f"sqlite:///{instance / 'round-sheet.sqlite3'}"
    (instance / "config.toml").write_text('database_url = "postgresql://db/rounds"')
    assert load().url == "postgresql://db/rounds"


def test_the_environment_overrides_the_file_and_the_file_the_default(
        instance: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert (load().port, load().host) == (8000, "127.0.0.1")
    (instance / "config.toml").write_text('port = 8100\nhost = "0.0.0.0"')
    monkeypatch.setenv("ROUND_SHEET_PORT", "8200")
    assert (load().port, load().host) == (8200, "0.0.0.0")


@pytest.mark.parametrize("written", ['trusted_hosts = ["rounds.example", "10.0.0.5"]',
                                     'trusted_hosts = "rounds.example, 10.0.0.5,"'])
def test_several_hosts_are_a_list_or_a_line_with_commas(instance: Path, written: str) -> None:
    (instance / "config.toml").write_text(written)
    assert load().trusted_hosts == ("rounds.example", "10.0.0.5")


@pytest.mark.parametrize(("written", "says"), [
    pytest.param("prot = 8000", "no setting is called 'prot'; known are .*port", id="a name mistyped"),
    pytest.param('port = "eight"', "port = 'eight' is not a int", id="a word for a number"),
    pytest.param("port = ", "config.toml: ", id="no TOML"),
    pytest.param('instance = "/elsewhere"', "no setting is called 'instance'", id="the folder names itself"),
])
def test_a_setting_that_cannot_be_used_is_named_with_its_file(instance: Path, written: str, says: str) -> None:
    (instance / "config.toml").write_text(written)
    with pytest.raises(BadSetting, match=says) as refused:
        load()
    assert str(instance) in str(refused.value)


@pytest.mark.parametrize(("written", "says"), [
    ("port = -1", "port = -1 cannot be: 0 to 65535"), ("port = 65536", "port = 65536 cannot be"),
    ("port = 80.5", "port = 80.5 is not a int"), ("port = true", "port = True is not a int"),
    ("threads = 0", "threads = 0 cannot be: 1 to 256"), ("proxies = -1", "proxies = -1 cannot be"),
    ("session_hours = 0", "session_hours = 0.0 cannot be: 0.25 to 168"), ("session_hours = nan", "cannot be"),
    ("session_hours = 169", "cannot be"), ("body_limit = 1000", "body_limit = 1000 cannot be"),
    ("desk_hours = 0", "cannot be: 0.25 to 168"), ("desk_idle_minutes = 4", "= 4.0 cannot be: 5 to 1440"),
    ('database_url = "mysql://db/rounds"', "database_url begins with none of"), ('host = " "', "host is empty"),
    ('public_url = "rounds.example"', "is not an address"), ('public_url = "https://a.example/x"', "is not an address"),
], ids=str)
def test_a_setting_that_cannot_work_is_refused_at_the_start_with_what_can(instance: Path, written: str,
                                                                          says: str) -> None:
    (instance / "config.toml").write_text(written)
    with pytest.raises(BadSetting, match=says):
        load()


@pytest.mark.parametrize("written", ["port = 0", "port = 65535", "threads = 1", "session_hours = 0.25", "proxies = 10",
                                     "session_hours = 168", "desk_idle_minutes = 1440", 'public_url = "https://rounds.example/"'])
def test_the_least_and_the_most_are_taken(instance: Path, written: str) -> None:
    (instance / "config.toml").write_text(written)
    assert load()


def test_a_setting_of_the_environment_that_cannot_work_is_named(instance: Path,
                                                                monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROUND_SHEET_PORT", "70000")
    with pytest.raises(BadSetting, match="environment ROUND_SHEET_PORT: port = 70000 cannot be"):
        load()


def test_a_setting_of_the_environment_that_cannot_be_used_is_named(
        instance: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROUND_SHEET_THREADS", "many")
    with pytest.raises(BadSetting, match="environment: ROUND_SHEET_THREADS = 'many'"):
        load()


def test_a_file_that_is_not_utf_8_is_named(instance: Path) -> None:
    (instance / "config.toml").write_bytes(b'host = "\xff"')
    with pytest.raises(BadSetting, match=r"config\.toml"):
        load()


# the secret ------------------------------------------------------------------------------------------------


def test_the_secret_is_made_once_long_and_for_its_owner_only(instance: Path) -> None:
    first = load().secret
    assert len(first) == 32
    assert load().secret == first
    assert (instance / "secret").stat().st_mode & 0o777 == 0o600


def test_a_secret_that_a_full_disk_left_empty_is_not_used(instance: Path) -> None:
    (instance / "secret").write_bytes(b"")
    with pytest.raises(BadSetting, match="too short to be a secret"):
        _ = load().secret


def test_the_secret_is_on_the_disk_before_anything_is_sealed_with_it(
        instance: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut leaves a file that was not synced empty, and a server with an empty secret does not start."""
    synced, sync = [], os.fsync

    def seen(number: int) -> None:
        told = os.fstat(number)
        synced.append((told.st_ino, told.st_size if stat.S_ISREG(told.st_mode) else "folder"))
        sync(number)

    monkeypatch.setattr(os, "fsync", seen)
    _ = Settings(instance=instance).secret
    assert synced == [((instance / "secret").stat().st_ino, 32), (instance.stat().st_ino, "folder")]


def test_two_instances_never_share_a_secret(tmp_path: Path) -> None:
    secrets = set()
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        secrets.add(Settings(instance=tmp_path / name).secret)
    assert len(secrets) == 2


def test_workers_starting_at_once_agree_on_the_secret(instance: Path) -> None:
    ready, found = threading.Barrier(16), []

    def start() -> None:
        ready.wait()
        found.append(Settings(instance=instance).secret)

    threads = [threading.Thread(target=start) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(found) == {(instance / "secret").read_bytes()}
    assert len(found[0]) == 32
    assert [p.name for p in instance.iterdir()] == ["secret"]


# the example -----------------------------------------------------------------------------------------------


def test_the_example_names_every_setting_with_its_default(instance: Path) -> None:
    shown = tomllib.loads(EXAMPLE.read_text("utf-8"))
    assert sorted(shown) == IN_FILE
    defaults = Settings(instance=instance)
    assert {name: tuple(v) if isinstance(v, list) else v for name, v in shown.items()} == {
        name: getattr(defaults, name) for name in IN_FILE}


def test_the_example_can_be_used_as_it_is(instance: Path) -> None:
    (instance / "config.toml").write_text(EXAMPLE.read_text("utf-8"), "utf-8")
    assert load() == Settings(instance=instance)


@pytest.mark.parametrize("name", IN_FILE)
def test_the_example_explains_every_setting_above_it(name: str) -> None:
    lines = EXAMPLE.read_text("utf-8").splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith(f"{name} = "))
    assert lines[place - 1].startswith("# ")
