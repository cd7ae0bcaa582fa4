"""The unit's changes of limits, kept by this process: every save is judged by them, and people change them rarely.

Changes are only ever added, so the id of the newest one, which a save reads with the rest, says whether what is kept
still holds, whichever server or process added it.
"""

from __future__ import annotations

from weakref import WeakKeyDictionary

from sqlalchemy.orm import Session

from app.store import limits
from app.store.limits import LimitChange

#: By database, then unit: the newest id with the changes up to it.
_KEPT: WeakKeyDictionary[object, dict[int, tuple[int, list[LimitChange]]]] = WeakKeyDictionary()


def changes(session: Session, unit_id: int, newest_id: int | None) -> list[LimitChange]:
    """Every change of the unit's limits up to the newest one, the oldest first. None: there is none.

    Not for a session that changed a limit itself and may yet undo it.
    """
    if newest_id is None:
        return []
    of_units = _KEPT.setdefault(session.bind or session.get_bind(), {})
    kept = of_units.get(unit_id)
    if kept is None or kept[0] != newest_id:
        found = limits.limit_changes(session, unit_id)
        for change in found:
            session.expunge(change)  # outlives this session
        of_units[unit_id] = kept = newest_id, found
    return kept[1]
