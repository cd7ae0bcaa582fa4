"""`python -m tests.benchmarks [--full] [NAME …]`: every figure beside a floor of the same run, the table at the end.

Exit 1 when a goal is missed. The plain run leaves out what takes long and says so; --full has it all. NAME runs only
the measurements whose name holds it. Milliseconds belong to the machine that ran it; the ratios are what is promised.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable

from tests import cluster
from tests.benchmarks import costs, history, loading, pages, peers, saves, servers, sites, walking, week
from tests.benchmarks.answer_key import judge
from tests.benchmarks.ground import Ground, filled
from tests.benchmarks.invented import AS_HEARD, AS_MEASURED, invent
from tests.benchmarks.lines import Line, table

Measure = Callable[[Ground], Iterable[Line]]

#: On a unit of 60 motors with 50,000 readings.
ON_A_UNIT: dict[str, Measure] = {
    "save": saves.one_entry, "sync": saves.sixty_at_once, "sheet": pages.sheet,
    "review": pages.review, "week": pages.week, "weight": pages.weight, "worker": costs.a_worker,
    "import": costs.register, "rehearsal": costs.weeks_again, "walk": walking.save_to_next}
#: On another like it: the hundreds of flags that review and week have left standing are no usual unit's, and the
#: thousands of entries in one round no usual round.
ON_A_UNIT_OF_ITS_OWN: dict[str, Measure] = {"clients": servers.fifty_tablets}
#: On one of 400 motors with a month behind it.
ON_A_LARGE_UNIT: dict[str, Measure] = {"sheet of 400": pages.sheet}
#: On one of 60 motors with three years behind it.
ON_THREE_YEARS: dict[str, Measure] = {"motor": pages.motor}


def measured(measures: dict[str, Measure], wanted: list[str], lines: list[Line], **unit: int) -> None:
    """Runs what is wanted of these on one filled database; a measurement that fails is told and missed."""
    chosen = {name: measure for name, measure in measures.items() if _asked(name, wanted)}
    if not chosen:
        return
    begun = time.perf_counter()
    with filled(**unit) as ground:
        _spent(f"filling {unit['motors']} motors, {unit['days']} days", time.perf_counter() - begun)
        for name, measure in chosen.items():
            _run(name, lambda measure=measure: measure(ground), lines)


def _asked(name: str, wanted: list[str]) -> bool:
    return not wanted or any(word in name for word in wanted)


def _run(name: str, work: Callable[[], Iterable[Line]], lines: list[Line]) -> None:
    begun, before = time.perf_counter(), len(lines)
    try:
        for line in work():
            lines.append(line)
            print(f"  {'  '.join(cell for cell in line.cells() if cell)}", flush=True)
    except Exception as error:  # the other figures still count
        lines.append(Line(f"{name}: failed, {type(error).__name__}: {error}"[:110], 1.0, "", goal=0.0))
        print(f"  {name} failed: {error!r}", flush=True)
    print(f"{name}: {len(lines) - before} figures", flush=True)
    _spent(name, time.perf_counter() - begun)


#: What each part took, in the order they ran: the plain run has twelve minutes.
PARTS: list[tuple[str, float]] = []
PLAIN_RUN_S = 720.0


def _spent(part: str, seconds: float) -> None:
    PARTS.append((part, seconds))


def _times(plain: bool) -> str:
    """Seconds by part, and the whole; whether the plain run kept within its minutes is told, not judged."""
    whole = sum(seconds for _, seconds in PARTS)
    told = [f"  {seconds:5.0f} s  {part}" for part, seconds in PARTS]
    over = f", over the {PLAIN_RUN_S / 60:.0f} minutes of a plain run" if plain and whole > PLAIN_RUN_S else ""
    return "\n".join(["Time by part:", *told, f"  {whole:5.0f} s  together{over}"])


def key() -> Iterable[Line]:
    """The judge against the answer key, each rule's precision and recall told."""
    for name, scatter in (("scatter as heard", AS_HEARD), ("scatter as measured", AS_MEASURED)):
        score = judge(invent(motors=60, days=90, shifts=2, faults=54, scatter=scatter))
        print("\n".join(f"  {line}" for line in score.lines()))
        yield Line(f"planted faults found, {name}", 100 * score.recall, "%", goal=95.0, at_least=True)
        yield Line(f"false act-now or this-shift flags in 1,000 readings, {name}", score.false_per_1000, "", goal=2.0)


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--full", action="store_true", help="5,000,000 readings, many sites, what people use instead")
    parser.add_argument("name", nargs="*", help="only the measurements whose name holds one of these words")
    asked = parser.parse_args(arguments)
    full, wanted = asked.full, asked.name
    lines: list[Line] = []
    left_out: list[str] = [] if full else ["5,000,000 readings (500,000 were taken)", "5,475,000 readings loaded",
                                           "100,000 exceptions as files", "many sites: servers, months, clusters",
                                           "what people use instead (--full, with the extra `peers`)"]
    try:
        with cluster.running(*cluster.DURABLE) as url:
            _all(cluster.Server(url), full, wanted, lines, left_out)
    except cluster.NoPostgres as error:
        left_out.append(f"PostgreSQL: {error}")
        _all(None, full, wanted, lines, left_out)
    if not lines:
        parser.error(f"no measurement is named so: {' '.join(wanted)}")
    print("\n" + table(lines))
    print(_times(not full and not wanted))
    for what in left_out if not wanted else ():
        print(f"Left out: {what}.")
    missed = [line.name for line in lines if line.met is False]
    print(f"{len(missed)} goals missed." if missed else "Every goal met.")
    return 1 if missed else 0


def _all(server: cluster.Server | None, full: bool, wanted: list[str], lines: list[Line],
         left_out: list[str]) -> None:
    if _asked("answer key", wanted):
        _run("answer key", key, lines)
    measured(ON_A_UNIT, wanted, lines, motors=60, days=278)
    measured(ON_A_UNIT_OF_ITS_OWN, wanted, lines, motors=60, days=278)
    if server is not None and (_asked("save", wanted) or _asked("servers", wanted)):
        begun = time.perf_counter()
        with filled(server.make()) as ground:
            _spent("filling 60 motors, 278 days, PostgreSQL", time.perf_counter() - begun)
            _run("save, PostgreSQL", lambda: saves.one_entry(ground, server.make()), lines)
            _run("servers", lambda: servers.one_and_two(ground), lines)
    measured(ON_A_LARGE_UNIT, wanted, lines, motors=400, days=30)
    measured(ON_THREE_YEARS, wanted, lines, motors=60, days=1095)
    if _asked("history", wanted):
        _run("history", lambda: history.flat(server, full), lines)
    if _asked("bad week", wanted):
        _run("bad week", week.two_thousand_exceptions, lines)
    if full and _asked("rows of a week", wanted):
        _run("rows of a week", week.hundred_thousand_rows, lines)
    if _asked("load", wanted):
        _run("load", lambda: loading.load(full), lines)
    if full and server is not None and _asked("sites", wanted):
        _run("sites: servers", lambda: sites.several_servers(server), lines)
        _run("sites: clusters", lambda: sites.two_clusters(server), lines)
        _run("sites: months", lambda: sites.by_month(server), lines)
    if full and _asked("peers", wanted):
        missing = peers.missing()
        if missing:
            left_out.append(f"what people use instead: {missing} not installed (pip install -e '.[peers]')")
        else:
            _run("peers", peers.side_by_side, lines)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
