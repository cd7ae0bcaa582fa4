"""What we remember: models and, under them, the named queries of that noun. Everything here only flushes."""

from app.store import (
    carried,
    changes,
    devices,
    dips,
    flags,
    guns,
    handovers,
    insulation,
    limits,
    lubrication,
    motors,
    oil,
    people,
    rounds,
    routes,
    set_up,
    signatures,
    starts,
    temporary,
    units,
)
from app.store.base import Base

__all__ = ["Base", "carried", "changes", "devices", "dips", "flags", "guns", "handovers", "insulation", "limits",
           "lubrication", "motors", "oil", "people", "rounds", "routes", "set_up", "signatures", "starts", "temporary",
           "units"]
