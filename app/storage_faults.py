"""What a database says when it cannot store, in words for the person whose entry it was.

A transaction that met one of these stored nothing; only a connection lost while it committed leaves that open, and then
sending the same entry again is safe: it is kept once.
"""

from __future__ import annotations

from sqlalchemy.exc import DBAPIError, InterfaceError, InternalError, OperationalError

#: Seconds after which trying again makes sense.
AGAIN_S = 15
_CALL = "Nothing was stored. Tell whoever keeps the server; keep this page open, or write it on paper."
_UNSURE = "It is not sure that this was stored. Keep the page open and send it again in a minute: the same entry is " \
          "never kept twice."
_BY_WORDS = (
    (("disk is full", "no space left", "could not extend file", "disk full"),
     "The server's disk is full", _CALL),
    (("readonly database", "read-only", "read only"),
     "The server may not write its data", _CALL),
    (("disk i/o error", "input/output error", "could not write", "could not fsync"),
     "The server's disk fails", f"{_UNSURE} Tell whoever keeps the server."),
    (("database is locked", "lock timeout", "deadlock"),
     "The database is busy", "Nothing was stored. Send it again in a moment."),
    (("no such table", "no such column", "does not exist", "malformed", "not a database"),
     "The database is not what this program expects", "Nothing was stored. Tell whoever keeps the server: "
                                                      "`round-sheet doctor` says what is wrong."),
)
#: PostgreSQL's codes for a table and a column that are not there (its manual, appendix A); SQLite tells both as its own
#: trouble.
_NOT_OURS = ("42P01", "42703")
AWAY = ("The database cannot be reached", _UNSURE)


def is_fault(error: BaseException) -> bool:
    """The database's trouble, not the entry's: what was sent may be right and can be sent again."""
    return isinstance(error, OperationalError | InterfaceError | InternalError) or (
        isinstance(error, DBAPIError)
        and (error.connection_invalidated or getattr(error.orig, "sqlstate", None) in _NOT_OURS))


def told(error: DBAPIError) -> tuple[str, str]:
    """(what happened, what to do). What came first counts: a full disk also takes the savepoint away."""
    said, cause = "", error
    while cause is not None:
        said, cause = f"{said} {cause}".lower(), cause.__context__  # type: ignore[assignment]
    return next(((title, advice) for words, title, advice in _BY_WORDS if any(w in said for w in words)), AWAY)
