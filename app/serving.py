"""The production server: one process with threads, which is what SQLite's single writer wants."""

from __future__ import annotations

import gc
import os
import signal
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

from sqlalchemy.exc import DBAPIError

from app import create_app, pruning, utc_now
from app.config import Settings
from app.db import Database
from app.patient_server import LateHandshake, PatientServer
from app.web import request_log

LOOPBACK = ("127.0.0.1", "localhost", "::1")


def trusted(settings: Settings, host: str) -> tuple[str, ...]:
    """The host names that are answered. Bound to one address, only that and the loopback; else as configured."""
    if settings.trusted_hosts:
        return settings.trusted_hosts
    if host in LOOPBACK:
        return ("127.0.0.1", "localhost", "[::1]")
    return ()


def _stop(*_: object) -> None:
    """As Ctrl+C does, as long as nothing is served."""
    raise KeyboardInterrupt


def _end_when_told(server: PatientServer) -> threading.Thread:
    """From now on Ctrl+C and SIGTERM end the server in order: what is being worked on is finished first. Told a second
    time it ends at once.

    The main thread hands connections to others. An exception out of a signal strikes it anywhere, also in the middle of
    waking one of them, which then sleeps for ever and is waited for. So a signal only writes into a pipe, and this
    thread, which reads it, does the rest.
    """
    told, tell = os.pipe()

    def _told(number: int, _: object) -> None:
        signal.signal(number, signal.SIG_DFL)
        os.write(tell, b".")

    def _end() -> None:
        os.read(told, 1)
        server.stop()

    ending = threading.Thread(target=_end, daemon=True, name="ending")
    ending.start()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, _told)
    return ending


def serve(settings: Settings, host: str, port: int, tls_cert: str | None, tls_key: str | None,
          say: Callable[[str], None], code: str | None = None, clock: Callable[[], datetime] = utc_now) -> None:
    """Serves until stopped. The address printed is the one that answers. code: opens the first set-up, where nobody
    can sign in as supervisor yet. clock: what it takes for now."""
    app = create_app(replace(settings, trusted_hosts=trusted(settings, host)), clock)
    request_log.to_standard_error(settings)
    request_log.watch(app)
    database = app.extensions["database"]
    server = PatientServer((host, port), app.wsgi_app, settings.threads, database.is_sqlite, database.together)
    server.max_request_body_size = settings.body_limit * 4  # above the app's own limit, which answers in words
    if tls_cert and tls_key:
        server.ssl_adapter = LateHandshake(tls_cert, tls_key)
    signal.signal(signal.SIGTERM, _stop)
    try:
        _prune_daily(database)
        server.prepare()
        keep_out_of_collections()
        _say_where(settings, host, server.bind_addr[1], bool(tls_cert), code, say)
        ending = _end_when_told(server)
        server.serve()
        say("Stopping …")
        ending.join()
    except KeyboardInterrupt:  # told before it served
        say("Stopping …")
    finally:
        server.stop()


def keep_out_of_collections() -> None:
    """What is there before the first request stays for good. To look through it for garbage held up everybody for a
    tenth of a second every few thousand entries; and a look at the rest need not come every few requests."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 10)


def _prune_daily(database: Database) -> None:
    """Now and once a day: what is kept for a time only. What cannot be done now is tried tomorrow."""
    def prune() -> None:
        try:
            with database.writing() as session:
                pruning.prune(session, datetime.now(UTC))
                session.commit()
        except DBAPIError as error:
            request_log.log.warning("nothing was pruned: %s", type(error).__name__)
        again = threading.Timer(24 * 3600, prune)
        again.daemon = True
        again.start()

    prune()


def _say_where(settings: Settings, host: str, port: int, tls: bool, code: str | None,
               say: Callable[[str], None]) -> None:
    shown = f"{'https' if tls else 'http'}://{f'[{host}]' if ':' in host else host}:{port}"
    say(f"Serving on {shown}  (stop with Ctrl+C)")
    if code is not None:
        there = settings.public_url.rstrip("/") or shown
        say(f"There is no supervisor yet. Open {there}/set-up and enter this code, which counts once:\n\n    {code}\n")
    if not tls and host not in LOOPBACK and not settings.proxies:
        say("No TLS: secrets cross the network in the clear. Give --tls-cert and --tls-key, or put a proxy in front.")
