"""`python -m tests.soak [--rounds 200] [--tablets 50] [--each 60]`: the long runs in full, with their figures."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests import cluster
from tests.soak import killing, shift_change
from tests.soak.served import Ground, lay_ground


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rounds", type=int, default=200, help="kills of the server on each database")
    asked.add_argument("--tablets", type=int, default=50)
    asked.add_argument("--each", type=int, default=60, help="queued entries on each tablet")
    given = asked.parse_args()
    good = True
    with tempfile.TemporaryDirectory() as folder, cluster.running() as url:
        server = cluster.Server(url)
        for kind in ("sqlite", "postgresql"):
            for name, run in (("kill", _kill), ("shift change", _shift_change)):
                place = Path(folder) / f"{kind}-{name.replace(' ', '-')}"
                ground = lay_ground(place, server.make() if kind == "postgresql" else "")
                good = run(kind, ground, given) and good
        server.drop_all()
    print("every line holds" if good else "NOT every line holds")
    return 0 if good else 1


def _kill(kind: str, ground: Ground, given: argparse.Namespace) -> bool:
    outcome = killing.kill_under_load(ground, given.rounds)
    rows, faults = killing.send_again(ground), ground.doctor()
    print(f"{kind}: killed {outcome.rounds} times under {killing.CLIENTS} clients; {outcome.sent} sent, "
          f"{outcome.acknowledged} there, of these {outcome.unanswered} whose answer never arrived; lost "
          f"{outcome.lost}, doubled {outcome.doubled}; after sending again {rows} rows. "
          f"{faults or 'Doctor: all well.'}", flush=True)
    return (outcome.lost, outcome.doubled, rows, faults) == (0, 0, outcome.sent, "")


def _shift_change(kind: str, ground: Ground, given: argparse.Namespace) -> bool:
    outcome = shift_change.all_at_once(ground, given.tablets, given.each)
    faults = ground.doctor()
    print(f"{kind}: {outcome.tablets} tablets, {outcome.each} entries each, at once: {outcome.rows} rows in "
          f"{outcome.seconds:.1f} s ({outcome.rows / outcome.seconds:.0f} a second), requests without answer "
          f"{outcome.unanswered}; a page meanwhile {outcome.page_median_s:.2f} s median, {outcome.page_worst_s:.2f} s "
          f"at worst. {faults or 'Doctor: all well.'}", flush=True)
    return (outcome.rows, outcome.unanswered, faults) == (outcome.tablets * outcome.each, 0, "")


if __name__ == "__main__":
    sys.exit(main())
