"""Motor Round Sheet: the shift's round sheet for a process unit's AC motors."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from app.api.pace import Pace
from app.config import Settings, load
from app.db import Database
from app.releases import release

try:
    VERSION = version("motor-round-sheet")
except PackageNotFoundError:  # run from a checkout that was never installed
    VERSION = "0"


def utc_now() -> datetime:
    return datetime.now(UTC)


def hold(app: Flask, settings: Settings, clock: Callable[[], datetime]) -> None:
    """What views ask the app for, beside its routes: settings, database, clock, and how fast each token may send."""
    app.config["SECRET_KEY"] = settings.secret
    app.extensions.update(settings=settings, database=Database(settings.url), clock=clock, token_pace=Pace())


class App(Flask):
    """Flask, in which nothing is asynchronous: it would look at each function before each call whether it is."""

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        return func


def create_app(config: Settings | None = None, clock: Callable[[], datetime] = utc_now) -> Flask:
    """The app for one instance. The database must have been brought up to date (`app.db.Database.upgrade`).

    config: None reads the instance folder. clock: what the app takes for now, always with a zone.
    """
    settings = config or load(create=False)
    app = App("app", instance_path=str(settings.instance), static_folder="static", template_folder="templates",
                static_url_path=f"/static/{release()}")
    app.config.update(
        SESSION_COOKIE_NAME="said",  # Flask's own cookie carries nothing but the sentence shown after a save
        SESSION_COOKIE_SAMESITE="Lax",
        MAX_CONTENT_LENGTH=settings.body_limit,
        MAX_FORM_MEMORY_SIZE=settings.body_limit,
        MAX_FORM_PARTS=20_000,
        TRUSTED_HOSTS=list(settings.hosts) or None,
        SEND_FILE_MAX_AGE_DEFAULT=31_536_000,
    )
    app.json.sort_keys = False
    app.url_map.merge_slashes = False  # a tag may hold two slashes
    hold(app, settings, clock)
    if settings.proxies:
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=settings.proxies, x_proto=settings.proxies, x_host=0)  # type: ignore[method-assign]

    from app import cli
    from app.api import door
    from app.web import pages

    pages.register(app)
    door.register(app)
    cli.register(app)
    return app
