"""The test ground: both databases, a clock that stands where it is put, the app on it, nothing skipped in CI."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from jinja2.bccache import Bucket, BytecodeCache

from app import create_app, guessing, hold, serving
from app.config import Settings
from app.db import Database
from tests import cluster, factories
from tests.factories import Plant

SQLITE, POSTGRES = "sqlite", "postgresql"
BOTH = (SQLITE, POSTGRES)
#: `@on_both` over a test that takes `app`, `client` or `plant`: once on each database.
on_both = pytest.mark.parametrize("app", BOTH, indirect=True)
#: Pages that write, and whose statements differ most between the two: all their tests run on both.
PAGES_ON_BOTH = {f"tests.web.test_{name}" for name in (
    "access_matrix", "dips", "flag_life", "flags", "handover", "lubrication", "register", "rounds", "settings",
    "settings_limits", "starts", "swap", "temporary", "trends", "undo", "week")}
#: `@by_nature_sqlite("why")` over a test about SQLite itself: it keeps to it also with `--on postgresql`.
by_nature_sqlite = pytest.mark.by_nature_sqlite


@dataclass
class Clock:
    """What the app takes for now: stands still until a test moves it."""

    now: datetime = factories.NOW

    def __call__(self) -> datetime:
        return self.now

    def set(self, instant: datetime | str) -> datetime:
        """To an instant, as such or as ISO text with an offset."""
        at = datetime.fromisoformat(instant) if isinstance(instant, str) else instant
        assert at.tzinfo is not None, "a clock without a zone tells nothing"
        self.now = at.astimezone(UTC)
        return self.now

    def advance(self, **span: float) -> datetime:
        """By a span: advance(hours=12)."""
        self.now += timedelta(**span)
        return self.now


# the two databases -----------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file brought up to date once; tests work on copies."""
    path = tmp_path_factory.mktemp("template") / "migrated.sqlite3"
    made = Database(f"sqlite:///{path}")
    made.upgrade()
    made.close()  # the last connection folds the log into the file
    return path


@pytest.fixture(scope="session")
def postgres() -> Iterator[cluster.Server]:
    """A PostgreSQL server for this run. Without its programs: a skip with the reason, a failure in CI."""
    try:
        with cluster.running() as url:
            server = cluster.Server(url)
            yield server
            server.drop_all()
    except cluster.NoPostgres as error:
        pytest.skip(str(error))


@pytest.fixture(scope="session")
def migrated_postgres(postgres: cluster.Server) -> Iterator[Database]:
    """A PostgreSQL database brought up to date once; every test that uses it leaves it without a row."""
    made = Database(postgres.make())
    made.upgrade()
    cluster.empty(made.engine)
    yield made
    made.close()


@pytest.fixture
def new_database(request: pytest.FixtureRequest, tmp_path: Path,
                 statements: dict[str, sa.Engine]) -> Iterator[Callable[..., Database]]:
    """new_database("sqlite" | "postgresql", upgraded=True) -> Database.

    An upgraded one has no rows, and on PostgreSQL there is one of it a test. Not upgraded, a test has as many as it
    asks for, with nothing in them.
    """
    made: list[Database] = []
    leave: list[Callable[[], None]] = []

    def make(kind: str, upgraded: bool = True) -> Database:
        if kind == SQLITE:
            path = tmp_path / f"rounds-{len(made)}.sqlite3"
            if upgraded:
                shutil.copyfile(request.getfixturevalue("migrated_file"), path)
            made.append(share_statements(Database(f"sqlite:///{path}"), statements))
        elif upgraded:
            shared: Database = request.getfixturevalue("migrated_postgres")
            assert shared.url not in [d.url for d in made], "a test has one upgraded PostgreSQL database"
            made.append(share_statements(Database(_text(shared)), statements))
            leave.append(lambda: cluster.empty(shared.engine))
        else:
            server: cluster.Server = request.getfixturevalue("postgres")
            url = server.make()
            made.append(share_statements(Database(url), statements))
            leave.append(lambda: server.drop(url))
        return made[-1]

    yield make
    for database in made:
        database.close()
    for end in leave:
        end()


@pytest.fixture(scope="session")
def statements() -> dict[str, sa.Engine]:
    """The first engine of each kind, whose written-out statements all later ones use."""
    return {}


def share_statements(database: Database, first: dict[str, sa.Engine]) -> Database:
    """The same database. Its statements are written out in SQL once for the run: for each test they are a third of it.

    SQLAlchemy keeps them by engine and dialect; nothing in them belongs to one database.
    """
    kept = first.setdefault(database.engine.name, database.engine)
    if kept is database.engine:
        kept.connect().close()  # the dialect learns its server's version
    for engine in (database.engine, database._read.kw["bind"], database._write.kw["bind"]):
        engine.dialect, engine._compiled_cache = kept.dialect, kept._compiled_cache
    return database


def _text(database: Database) -> str:
    return database.url.render_as_string(hide_password=False)


@pytest.fixture(params=BOTH)
def database(request: pytest.FixtureRequest, new_database: Callable[..., Database]) -> Database:
    """Upgraded and without a row, on SQLite and on PostgreSQL: a test that takes it runs once on each."""
    return new_database(request.param)


@pytest.fixture(params=BOTH)
def empty_database(request: pytest.FixtureRequest, new_database: Callable[..., Database]) -> Database:
    """Nothing in it, not even the tables, on SQLite and on PostgreSQL."""
    return new_database(request.param, upgraded=False)


# the app ---------------------------------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def _push_request_context() -> None:
    """Replaces pytest-flask's own: one request context around the whole test would share `g` between requests."""


@pytest.fixture
def clock() -> Clock:
    """Stands at 07:12 on Tuesday 24 November 2026 in Chicago (factories.NOW)."""
    return Clock()


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """The settings the app is made with; a test module that needs others redefines this fixture."""
    instance = tmp_path / "instance"
    instance.mkdir()
    # A desk's own limits would end what a test does over a shift in one step of the clock; their tests are their own.
    return Settings(instance=instance, desk_hours=14.0, desk_idle_minutes=14 * 60.0)


class Compiled(BytecodeCache):
    """Templates are compiled once for the run, not once for each test's app."""

    def __init__(self) -> None:
        self.kept: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        if bucket.key in self.kept:
            bucket.bytecode_from_string(self.kept[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        self.kept[bucket.key] = bucket.bytecode_to_string()


COMPILED = Compiled()


@pytest.fixture(scope="session")
def made_apps() -> dict[object, Flask]:
    """The apps that tests of this run share: one for each way of setting it up."""
    return {}


@pytest.fixture
def app(request: pytest.FixtureRequest, settings: Settings, clock: Clock, made_apps: dict[object, Flask],
        statements: dict[str, sa.Engine], new_database: Callable[..., Database]) -> Iterator[Flask]:
    """The app on SQLite (or what `--on` names) with no rows, on the test's clock; on both databases under `@on_both`.

    Routes and templates are put together once for the run (a tenth of a second); what the app holds is this test's own.
    A test that adds to the app says `@pytest.mark.own_app` and gets one that nobody else has.
    """
    made = new_database(getattr(request, "param", usual_database(request.node)))
    settings = replace(settings, database_url=_text(made))
    alike = repr(replace(settings, instance=Path(), database_url=""))
    if request.node.get_closest_marker("own_app") or alike not in made_apps:
        app = create_app(settings, clock=clock)
        app.testing = True
        app.jinja_env.bytecode_cache = COMPILED
        if not request.node.get_closest_marker("own_app"):
            made_apps[alike] = app
    else:
        app = made_apps[alike]
        hold(app, settings, clock)
    share_statements(app.extensions["database"], statements)
    yield app
    app.extensions["database"].close()


@pytest.fixture
def app_database(app: Flask) -> Database:
    """The database the app works on."""
    return app.extensions["database"]


@pytest.fixture
def plant(app_database: Database) -> Plant:
    """A unit, its three roles and one running motor, in the app's database."""
    with app_database.writing() as session:
        made = factories.make_plant(session)
        session.commit()
    return made


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    """A browser of its own: cookies kept, nothing else between requests. `sign_in(client, plant.operator)`."""
    return app.test_client()


# secrets ---------------------------------------------------------------------------------------------------

_SHIPPED = {name: getattr(guessing, name) for name in ("METHOD", "_NOBODY")}


@pytest.fixture(scope="session", autouse=True)
def quick_hash() -> Iterator[None]:
    """What a page or a command hashes costs nothing: at its shipped cost a secret takes a quarter of a second."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(guessing, "METHOD", "scrypt:256:8:1")
        patch.setattr(guessing, "_NOBODY", guessing.hash_secret("of nobody"))
        yield


@pytest.fixture
def shipped_hash(monkeypatch: pytest.MonkeyPatch) -> None:
    """Secrets are hashed at their shipped cost."""
    for name, shipped in _SHIPPED.items():
        monkeypatch.setattr(guessing, name, shipped)


# the run ---------------------------------------------------------------------------------------------------


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--on", choices=BOTH, help="run every test that works on a database on this one, and on it only")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """PAGES_ON_BOTH: each of their tests that takes `app` and says nothing of databases itself is as if @on_both."""
    test = metafunc.definition
    says = any(mark.args[0] == "app" for mark in test.iter_markers("parametrize"))
    if metafunc.module.__name__ in PAGES_ON_BOTH and "app" in metafunc.fixturenames and not (
            says or test.get_closest_marker("by_nature_sqlite")):
        metafunc.parametrize("app", BOTH, indirect=True)


def usual_database(item: pytest.Item) -> str:
    """What `app` is on where the test does not say: SQLite, or what `--on` names, but for those of SQLite by nature."""
    return SQLITE if item.get_closest_marker("by_nature_sqlite") else item.config.getoption("--on") or SQLITE


def _is_elsewhere(item: pytest.Item, only: str | None) -> bool:
    """Whether a test that runs once on each database is here for the one that `--on` does not name."""
    asked = getattr(item, "callspec", None)
    of = [asked.params[name] for name in ("app", "database", "empty_database") if name in asked.params] if asked else []
    return only is not None and any(kind in BOTH and kind != only for kind in of)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Fast tests first, then the slow ones, then those with a browser; with `--on` not those for the other database."""
    elsewhere = [item for item in items if _is_elsewhere(item, config.getoption("--on"))]
    if elsewhere:
        config.hook.pytest_deselected(items=elsewhere)
        items[:] = [item for item in items if not _is_elsewhere(item, config.getoption("--on"))]
    here = Path(__file__).parent / "browser"
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)
    items.sort(key=lambda i: (i.get_closest_marker("browser") is not None, i.get_closest_marker("slow") is not None))


def pytest_collection_finish() -> None:
    """The tests themselves, some 7,000, are no garbage either: as served, they are not looked through for any."""
    serving.keep_out_of_collections()


def _refuse_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    if os.environ.get("CI") and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"With CI set nothing may be skipped. {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> object:
    report = yield
    _refuse_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector) -> object:
    report = yield
    _refuse_skip(report)
    return report
