"""What is kept for a time only: ended sign-ins and wrong tries. What people observed and did is kept for good."""

from __future__ import annotations

from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.people import FailedTry, SignedIn

#: Long enough to look into what happened, no longer.
KEPT_FOR = timedelta(days=90)


def prune(session: Session, now: datetime) -> int:
    """Takes away sign-ins that ended and tries that failed more than 90 days ago; how many. The caller commits."""
    gone = 0
    for wanted in (sa.delete(FailedTry).where(FailedTry.at < now - KEPT_FOR),
                   sa.delete(SignedIn).where(sa.or_(SignedIn.ended_at < now - KEPT_FOR,
                                                    SignedIn.expires_at < now - KEPT_FOR))):
        gone += max(session.execute(wanted).rowcount, 0)  # type: ignore[attr-defined]
    return gone
