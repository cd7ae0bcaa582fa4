"""`python -m tests.soak [NAME …] [--rounds 200] [--times 5] [--tablets 50] [--each 60]`: the long runs in full.

NAME runs only what is called so. Says how far it is as it goes; the table is at the end. Exit 1 where a line does not
hold. What needs root (small disks of its own, a disk that fails) is left out for anybody else, and named.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.conftest import BOTH, POSTGRES, SQLITE
from tests.soak import faults, killing, shift_change
from tests.soak.faults import Outcome
from tests.soak.place import Place, place


@dataclass(frozen=True)
class Line:
    """One row of the table. stored: told as stored, once or more; rows: in the table of readings at the end."""

    what: str
    kind: str
    stored: int
    rows: int
    lost: int
    says: str
    good: bool

    def cells(self) -> tuple[str, ...]:
        return (self.what, self.kind, f"{self.stored:,}", f"{self.rows:,}", str(self.lost),
                "holds" if self.good else "DOES NOT HOLD", self.says)


HEAD = ("what", "database", "told as stored", "there, each once", "lost", "", "")


def table(lines: list[Line]) -> str:
    rows = [HEAD, *(line.cells() for line in lines)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(HEAD))]
    return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
                     for row in rows)


def say(text: str) -> None:
    print(f"  {text}", flush=True)


def killed(here: Place, kind: str, rounds: int) -> Line:
    ground = here.ground(kind)
    came = killing.kill_under_load(here.starter, ground, rounds, say=say)
    wrong = came.wrong or ground.doctor()
    where = ", ".join(f"{count} {name}" for name, count in came.rounds.items())
    return Line(f"killed {rounds} times", kind, came.stored, came.rows, len(came.lost),
                wrong or f"{where}; {came.already} there when sent again",
                not came.lost and not wrong and came.rows == came.sent == came.stored
                and came.after_commit == came.rounds[killing.AFTER_COMMIT])


def lived_through(what: str, kind: str, came: Outcome) -> Line:
    refused = "; ".join(f"{count} × “{says.split('. ')[1]}”" for says, count in came.refused.items())
    return Line(what, kind, came.stored, came.rows, len(came.lost),
                came.wrong or "; ".join(filter(None, (refused and f"refused {refused}",
                                                      came.page and f"page “{came.page}”"))) or "none refused",
                came.holds)


def shift(here: Place, kind: str, tablets: int, each: int) -> Line:
    ground = here.ground(kind, crew=tablets)
    came = shift_change.all_at_once(ground, each, say)
    wrong = came.wrong or ground.doctor() or "; ".join(came.refused)
    return Line(f"{tablets} tablets × {each} entries", kind, came.stored, came.rows, len(came.lost),
                wrong or f"{came.seconds:.0f} s, {came.stored / came.seconds:.0f} entries a second, none refused, "
                         f"{came.silent} without answer in 15 s; {len(came.pages)} pages meanwhile, "
                         f"{came.page_median_s:.2f} s median, {max(came.pages):.2f} s at worst",
                not wrong and not came.lost and came.rows == came.stored == tablets * each)


def jobs(here: Place, given: argparse.Namespace) -> list[tuple[str, str, Callable[[], Line]]]:
    times, found = given.times, list[tuple[str, str, Callable[[], Line]]]()

    def add(what: str, kind: str, run: Callable[[], Outcome]) -> None:
        found.append((what, kind, lambda: lived_through(what, kind, run())))

    for kind in BOTH:
        found.append(("kill", kind, lambda kind=kind: killed(here, kind, given.rounds)))  # type: ignore[misc]
    for kind in BOTH:
        if faults.can_mount():
            add(f"disk full, {times} times", kind, lambda kind=kind: here.small_disk_full(kind, times))  # type: ignore[misc]
        add(f"no file may grow, {times} times", kind, lambda kind=kind: here.disk_full(kind, times))  # type: ignore[misc]
        add(f"read-only, {times} times", kind, lambda kind=kind: here.read_only(kind, times))  # type: ignore[misc]
        add(f"clock jumps, {times * len(faults.JUMPS)} times", kind,
            lambda kind=kind: here.clock_jumps(kind, times))  # type: ignore[misc]
    if faults.can_mount():
        add("disk fails and turns read-only", SQLITE, here.failing_disk)
    add(f"database away, {times} times", POSTGRES, lambda: here.database_away(times))
    add(f"one of two servers killed, {times} times", POSTGRES, lambda: here.one_of_two_killed(times))
    for kind in BOTH:
        found.append(("shift change", kind, lambda kind=kind: shift(here, kind, given.tablets, given.each)))  # type: ignore[misc]
    return [job for job in found if not given.names or any(name in " ".join(job[:2]) for name in given.names)]


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("names", nargs="*", help="such as kill, disk, read-only, clock, away, two, shift")
    asked.add_argument("--rounds", type=int, default=200, help="kills of the server on each database")
    asked.add_argument("--times", type=int, default=5, help="how often each fault comes and goes")
    asked.add_argument("--tablets", type=int, default=50)
    asked.add_argument("--each", type=int, default=60, help="queued entries on each tablet")
    given, lines, began = asked.parse_args(), list[Line](), time.monotonic()
    with tempfile.TemporaryDirectory(prefix="rounds-soak-") as folder:
        Path(folder).chmod(0o755)  # PostgreSQL's user has its tables on a small disk in it
        with place(Path(folder)) as here:
            for what, kind, job in jobs(here, given):
                print(f"{what}, {kind} ({time.monotonic() - began:.0f} s since the start)", flush=True)
                try:
                    lines.append(job())
                except Exception as error:  # the other lines still count
                    lines.append(Line(what, kind, 0, 0, 0, f"{type(error).__name__}: {error}"[:300], False))
                say("  ".join(lines[-1].cells()))
    print(f"\n{table(lines)}\n{time.monotonic() - began:.0f} s")
    if not faults.can_mount():
        print("Left out: a full disk and a failing disk of their own (they need root).")
    print("Every line holds." if all(line.good for line in lines) else "NOT every line holds.")
    return 0 if all(line.good for line in lines) else 1


if __name__ == "__main__":
    sys.exit(main())
