"""Where things live and how the server is set up: the instance folder, config.toml in it, environment over it."""

from __future__ import annotations

import contextlib
import os
import secrets
import tomllib
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

PREFIX = "ROUND_SHEET_"
SECRET_BYTES = 32


#: The least and the most that each number can be.
RANGES: dict[str, tuple[float, float]] = {
    "port": (0, 65_535), "threads": (1, 256), "proxies": (0, 10), "session_hours": (0.25, 168),
    "desk_hours": (0.25, 168), "desk_idle_minutes": (5, 1440),
    "body_limit": (65_536, 268_435_456), "slow_statement_ms": (0, 3_600_000),
}
DATABASES = ("sqlite:///", "postgres://", "postgresql://", "postgresql+psycopg://")


class NoInstance(RuntimeError):
    """The instance folder is not there, and this command may not make one."""


class BadSetting(RuntimeError):
    """A setting that cannot be used, named with where it was read."""


@dataclass(frozen=True)
class Settings:
    """Every deployment setting. instance.example/config.toml explains each."""

    instance: Path
    database_url: str = ""
    host: str = "127.0.0.1"
    port: int = 8000
    threads: int = 4
    public_url: str = ""  # fixed public address; when set, other hosts are refused
    trusted_hosts: tuple[str, ...] = ()
    proxies: int = 0  # how many proxies of our own stand in front
    session_hours: float = 14.0  # on an enrolled tablet: one 12 h shift and its overrun
    #: Everywhere else: NIST SP 800-63B-4, 2.2.3, asks at its second level for a new sign-in within 24 h and after an
    #: hour untouched (said from memory); 12 h is what its third revision asked.
    desk_hours: float = 12.0
    desk_idle_minutes: float = 60.0
    body_limit: int = 2 * 1024 * 1024
    log_requests: bool = False  # every request as a JSON line; else only what failed or was slow
    slow_statement_ms: float = 500.0  # a statement that takes longer is named in the log
    metrics: bool = False  # Prometheus text at /metrics, for a token of scope read
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def url(self) -> str:
        return self.database_url or f"sqlite:///{self.instance / 'round-sheet.sqlite3'}"

    @property
    def hosts(self) -> tuple[str, ...]:
        """The host names that are answered; empty: all."""
        public = urlsplit(self.public_url).hostname
        return (*self.trusted_hosts, *((public,) if public else ()))

    @cached_property
    def secret(self) -> bytes:
        """The key that signs what leaves the server; made at first start, readable by the owner only.

        Raises BadSetting for one too short to be ours, such as the empty file that a full disk leaves.
        """
        path = self.instance / "secret"
        if not path.exists():
            _make_secret(path)
        found = path.read_bytes()
        if len(found) < SECRET_BYTES:
            raise BadSetting(f"{path} is too short to be a secret. Remove it, and a new one is made; everybody signs "
                             "in again.")
        return found


def _make_secret(path: Path) -> None:
    """Written whole beside its place and then put there: no other worker reads half of it, and the first one stays.

    It is on the disk before it is used: a power cut soon after the first start would leave an empty file, and the
    server would not start with that.
    """
    half = path.with_name(f"secret.{secrets.token_hex(8)}")
    try:
        with os.fdopen(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(secrets.token_bytes(SECRET_BYTES))
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileExistsError):  # another worker was first
            os.link(half, path)
    finally:
        half.unlink(missing_ok=True)
    _keep_names(path.parent)


def _keep_names(folder: Path) -> None:
    """What was put into a folder is there after a power cut too. Windows has no such call for folders."""
    if os.name != "nt":
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def instance_folder() -> Path:
    return Path(os.environ.get(PREFIX + "INSTANCE") or "instance").absolute()


def _from_file(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return {}
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadSetting(f"{path}: {error}") from error


def _yes_or_no(value: Any) -> bool:
    known = {"true": True, "1": True, "yes": True, "false": False, "0": False, "no": False}
    word = str(value).strip().lower()
    if word not in known:
        raise ValueError(word)
    return known[word]


def _as_type(name: str, value: Any, kind: type, where: str) -> Any:
    try:
        if kind is tuple:
            items = value.split(",") if isinstance(value, str) else value
            return tuple(str(item).strip() for item in items if str(item).strip())
        if kind is bool:
            return _yes_or_no(value)
        if isinstance(value, bool) or (kind is int and isinstance(value, float) and value != int(value)):
            raise ValueError(value)  # true is no number, and half a port is no port
        return kind(value)
    except (TypeError, ValueError) as error:
        raise BadSetting(f"{where}: {name} = {value!r} is not a {kind.__name__}") from error


def _checked(name: str, value: Any, where: str) -> Any:
    """The value, if it can work. Raises BadSetting saying what can."""
    if name in RANGES:
        low, high = RANGES[name]
        if not low <= value <= high:  # not a number is outside every range
            raise BadSetting(f"{where}: {name} = {value!r} cannot be: {low:g} to {high:g}")
    if name == "database_url" and value and not value.startswith(DATABASES):
        raise BadSetting(f"{where}: {name} begins with none of {', '.join(DATABASES)}")
    if name == "public_url" and value:
        parts = urlsplit(value)
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.path not in ("", "/"):
            raise BadSetting(f"{where}: {name} = {value!r} is not an address such as https://rounds.example")
    if name == "host" and not value.strip():
        raise BadSetting(f"{where}: {name} is empty; 127.0.0.1 is this machine only, 0.0.0.0 every network")
    return value


def load(*, create: bool = False) -> Settings:
    """The settings of this instance. Raises NoInstance unless it is there or may be made."""
    folder = instance_folder()
    if not folder.is_dir():
        if not create:
            raise NoInstance(
                f"No instance folder at {folder}. Run `round-sheet serve` or `round-sheet add-unit` there first, "
                f"or set {PREFIX}INSTANCE to the folder that holds the data.")
        folder.mkdir(parents=True, mode=0o750)
    settings = Settings(instance=folder)
    kinds = {f.name: type(getattr(settings, f.name)) for f in fields(Settings) if f.name not in ("instance", "extra")}
    path = folder / "config.toml"
    found = _from_file(path)
    for name, value in found.items():
        if name not in kinds:
            raise BadSetting(f"{path}: no setting is called {name!r}; known are {', '.join(sorted(kinds))}")
        settings = replace(settings, **{name: _checked(name, _as_type(name, value, kinds[name], str(path)), str(path))})
    for name, kind in kinds.items():
        variable = PREFIX + name.upper()
        if variable in os.environ:
            value = _as_type(variable, os.environ[variable], kind, "environment")
            settings = replace(settings, **{name: _checked(name, value, f"environment {variable}")})
    return settings
