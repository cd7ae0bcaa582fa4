"""What we remember: models and, under them, the named queries of that noun. Everything here only flushes."""

from app.store import changes, flags, limits, lubrication, motors, people, rounds, units
from app.store.base import Base

__all__ = ["Base", "changes", "flags", "limits", "lubrication", "motors", "people", "rounds", "units"]
