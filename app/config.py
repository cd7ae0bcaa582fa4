"""Where things live and how the server is set up: the instance folder, config.toml in it, environment over it."""

from __future__ import annotations

import os
import secrets
import tomllib
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

PREFIX = "ROUND_SHEET_"


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
    session_hours: float = 14.0  # one 12 h shift and its overrun
    body_limit: int = 2 * 1024 * 1024
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def url(self) -> str:
        return self.database_url or f"sqlite:///{self.instance / 'round-sheet.sqlite3'}"

    @property
    def secret(self) -> bytes:
        """The key that signs what leaves the server; made at first start, readable by the owner only."""
        path = self.instance / "secret"
        try:
            return path.read_bytes()
        except FileNotFoundError:
            made = secrets.token_bytes(32)
            try:
                handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            except FileExistsError:  # another worker was first
                return path.read_bytes()
            with os.fdopen(handle, "wb") as file:
                file.write(made)
            return made


def instance_folder() -> Path:
    return Path(os.environ.get(PREFIX + "INSTANCE") or "instance").absolute()


def _from_file(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return {}
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadSetting(f"{path}: {error}") from error


def _as_type(name: str, value: Any, kind: type, where: str) -> Any:
    try:
        if kind is tuple:
            items = value.split(",") if isinstance(value, str) else value
            return tuple(str(item).strip() for item in items if str(item).strip())
        return kind(value)
    except (TypeError, ValueError) as error:
        raise BadSetting(f"{where}: {name} = {value!r} is not a {kind.__name__}") from error


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
        settings = replace(settings, **{name: _as_type(name, value, kinds[name], str(path))})
    for name, kind in kinds.items():
        variable = PREFIX + name.upper()
        if variable in os.environ:
            settings = replace(settings, **{name: _as_type(variable, os.environ[variable], kind, "environment")})
    return settings
