"""The generator and its bulk path: how long so many readings take, whole run."""

from __future__ import annotations

import time
from collections.abc import Iterator

from tests.benchmarks.ground import filled
from tests.benchmarks.lines import Line

FIVE_MINUTES_S = 300.0
#: Three shifts a day: 5,000 motors over a year are 5,475,000 readings.
WHOLE, TENTH = (5000, 365), (500, 365)


def load(full: bool) -> Iterator[Line]:
    motors, days = WHOLE if full else TENTH
    begun = time.perf_counter()
    with filled(motors=motors, days=days) as ground:
        spent = time.perf_counter() - begun
        yield Line(f"{ground.loaded.readings:,} readings generated and loaded, SQLite", spent, "s",
                   goal=FIVE_MINUTES_S if full else FIVE_MINUTES_S / 10)
