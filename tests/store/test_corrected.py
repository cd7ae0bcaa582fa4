"""Whether a reading was corrected is asked of another row, also by the first threads of a server."""

from __future__ import annotations

import subprocess
import sys

#: Eight threads ask for the first time at once, as a server's do; switched as often as Python can. In a process of its
#: own, for it is the first time only once.
AT_ONCE = """
import sys, threading
import sqlalchemy as sa
from app.store import rounds
sys.setswitchinterval(1e-6)
gate, told = threading.Barrier(8), []
def ask():
    gate.wait()
    told.append(str(sa.select(rounds.Reading.id).where(rounds.not_corrected())))
threads = [threading.Thread(target=ask) for _ in range(8)]
[t.start() for t in threads], [t.join() for t in threads]
assert len(told) == 8 and len(set(told)) == 1 and "newer.replaces_id = reading.id" in told[0], told
"""


def test_threads_that_ask_first_at_once_all_look_for_a_newer_reading() -> None:
    done = subprocess.run([sys.executable, "-W", "error", "-c", AT_ONCE], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
