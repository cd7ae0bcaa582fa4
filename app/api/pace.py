"""How fast one token may ask: above its pace each answer waits a moment. A valid token is slowed, never refused."""

from __future__ import annotations

import threading

PER_SECOND = 50.0
#: That many seconds' worth may come at once before anything waits.
BURST_S = 1.0
#: No answer waits longer: it holds one of the server's few threads.
LONGEST_S = 0.25


class Pace:
    """One clock for each token, kept by this process.

    >>> pace = Pace(per_second=2.0, burst_s=1.0, longest_s=5.0)
    >>> [pace.wait_s(7, 100.0) for _ in range(4)]  # two come at once, then half a second each
    [0.0, 0.0, 0.5, 1.0]
    """

    def __init__(self, per_second: float = PER_SECOND, burst_s: float = BURST_S, longest_s: float = LONGEST_S) -> None:
        self._step_s, self._burst_s, self._longest_s = 1.0 / per_second, burst_s, longest_s
        self._until: dict[int, float] = {}  # token -> the moment up to which its pace is used
        self._lock = threading.Lock()

    def wait_s(self, token_id: int, now_s: float) -> float:
        """Seconds that this answer waits; now_s is any clock that only goes forward."""
        with self._lock:
            until = max(self._until.get(token_id, now_s), now_s) + self._step_s
            # What was asked beyond the longest wait is not held against the token for ever.
            until = min(until, now_s + self._burst_s + self._longest_s)
            self._until[token_id] = until
            return max(0.0, until - now_s - self._burst_s)
