"""What we remember: models and, under them, the named queries of that noun. Everything here only flushes."""

from app.store import changes, dips, flags, insulation, limits, lubrication, motors, people, rounds, starts, units
from app.store.base import Base

__all__ = ["Base", "changes", "dips", "flags", "insulation", "limits", "lubrication", "motors", "people", "rounds",
           "starts", "units"]
