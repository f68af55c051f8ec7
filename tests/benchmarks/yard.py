"""How long the list of all rigs takes, most pressing first: 1,000 rigs with three years of quarterly checks.

    python -m tests.benchmarks.yard [--rigs 1000] [--parquet 100] [--logbook KEPT]

A command is a process of its own, started cold; the first one after checks came in works out their trends, those after it
don't. The list itself is timed in this process, as a screen that is open asks for it. ``--parquet`` rigs are exported as
Parquet, and the same list is made from there by one process, and by two under Dask. Exit code 1 when a limit isn't met.
"""

import argparse
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from resource import RUSAGE_CHILDREN, RUSAGE_SELF, getrusage
from statistics import median
from time import perf_counter
from typing import TYPE_CHECKING, Any

from tests.benchmarks.fleet import full
from tests.benchmarks.table import Row, all_met, load, print_table
from tests.jobs.season_logbook import RIG_TOML
from throwbook.core.assessment import CUT_OFF, PASS, Assessment
from throwbook.core.records import (
    ACCEPTED,
    Answers,
    Decision,
    Judgement,
    Order,
    Placement,
    RigRevision,
    Seal,
    Service,
    Sheet,
    Trial,
)
from throwbook.core.status.latch import IN_SERVICE, raise_order
from throwbook.core.status.urgency import NO_STATUS
from throwbook.core.trend.history import RigHistory
from throwbook.logbook import Logbook, open_logbook
from throwbook.logbook.schema import BY_RECORD, fact, to_json, to_row
from throwbook.logbook.seals import before, content_of, seal_of
from throwbook.logbook.serialization import assessment_to_json
from throwbook.logbook.store import INSERTS, _append

if TYPE_CHECKING:
    from throwbook.core.status.urgency import Need
    from throwbook.jobs.rig_list import Listed

CHECKS = 12
"""Three years of quarterly checks."""
BY = "M. K."
# every so many rigs: the cause of an order that stands open, or was cleared
OPEN_ORDERS = {37: "stall", 53: "rig changed", 29: "watch sign"}
CLEARED_EVERY = 11


class YardBook:
    """Rows gathered and written in one go: as the logbook's own jobs write them, only without asking it for each."""

    def __init__(self, book: Logbook) -> None:
        self.book = book
        self.rows: dict[str, list[list[Any]]] = {}
        self.entries: list[tuple[str, str, str, str]] = []

    def add(self, rig: str, record: Any, **extra: Any) -> tuple[Any, Any]:
        """The record with its id, and its fact for a seal."""
        table = BY_RECORD[type(record)]
        row = to_row(table, record, extra)
        self.rows.setdefault(table.name, []).append(list(row.values()))
        self.entries.append((table.name, str(row["id"]), rig, table.name))
        return replace(record, id=row["id"]), replace(fact(table, row), id=str(row["id"]))

    def write(self) -> None:
        with self.book.transaction():
            db = self.book.db
            for name in (one.name for one in BY_RECORD.values()):
                db.executemany(INSERTS[name], self.rows.get(name, ()))
            _append(db, self.entries, Counter(entry[0] for entry in self.entries))
        self.rows, self.entries = {}, []


def build(path: Path, rigs: int, today: date) -> None:
    """A logbook of ``rigs`` rigs; each one's newest check is up to 110 days old, so that some are overdue."""
    with open_logbook(path) as book:
        yard = YardBook(book)
        for i in range(rigs):
            name = f"rig-{i:04d}"
            history = full(i, CHECKS)
            late = today - timedelta(days=1 + (7 * i) % 110) - history.checks[-1].on
            checks = tuple(replace(one, on=one.on + late) for one in history.checks)
            with book.transaction():
                book.db.execute("INSERT INTO rig (name) VALUES (?)", [name])
            _rig(yard, replace(history, checks=checks), name, i)
            if i % 50 == 49 or i == rigs - 1:
                yard.write()


def _rig(yard: YardBook, history: RigHistory, name: str, number: int) -> None:
    actuator, first = history.rig.actuator, _noon(history.checks[0].on)
    toml = RIG_TOML.format(name=name, no_load=actuator.no_load_current_a, rated=actuator.full_load_current_a)
    toml += f'[machine]\nplace = "yard {number % 4 + 1}"\n'
    revision, of_rig = yard.add(name, RigRevision(name, toml, first, BY))
    last: list[Seal] = []
    unsealed = [of_rig]
    for at, check in enumerate(history.checks, start=1):
        now = _noon(check.on)
        if at == CHECKS // 2:
            serviced = now - timedelta(days=1)
            details = {"on": serviced.date().isoformat(), "found": "dry", "fixed": "greased", "answers": []}
            unsealed.append(yard.add(name, Service(name, "greased", serviced, BY, details=details))[1])
        sheet, of_sheet = yard.add(name, Sheet(name, check.kind, at, now, BY, nonce=f"{number:08x}{at:08x}"))
        said = {"ambient_c": check.ambient_c, "attachment": check.attachment or None}
        sealed = [of_sheet, yard.add(name, Answers(sheet.id, said, now, BY))[1]]
        for position, throw in enumerate(check.throws, start=1):
            judged = Assessment("", throw.direction, True, "", throw.figures, CUT_OFF, (), (), (), PASS)
            begun = now + timedelta(minutes=position)
            nonce = f"{number:06x}{at:04x}{position:06x}"
            trial, of_trial = yard.add(name, Trial(name, throw.direction, "trace", begun, None, {}, nonce))
            place = Placement(
                trial.id, sheet.id, position, now, BY, throw.as_found, ambient_c=check.ambient_c
            )
            judgement = Judgement(trial.id, judged, "0", now, BY, revision.id)
            written = {"assessment": to_json(assessment_to_json(judged)), "profile": None}
            written |= {"verdict": PASS, "method_version": judged.method_version}
            sealed += [of_trial, yard.add(name, place)[1], yard.add(name, judgement, **written)[1]]
        decision, of_decision = yard.add(name, Decision(sheet.id, ACCEPTED, BY, {}, now, BY))
        facts = sorted([*sealed, of_decision, *unsealed], key=lambda one: f"{one.table}:{one.id}")
        covers = tuple(f"{one.table}:{one.id}" for one in facts)
        digest = seal_of(content_of(facts), before(last))
        seal = Seal(name, sheet.id, decision.id, digest, covers, tuple(one.id for one in last), now)
        last, unsealed = [yard.add(name, seal)[0]], []
    newest = _noon(history.checks[-1].on)
    for every, cause in OPEN_ORDERS.items():
        if number % every == 0:
            yard.add(name, raise_order(name, cause, "seen by the benchmark", newest, BY))
    if number % CLEARED_EVERY == 0:
        raised, _ = yard.add(name, raise_order(name, "watch sign", "drag", newest - timedelta(days=100), BY))
        cleared = newest - timedelta(days=90)
        yard.add(
            name, Order(name, IN_SERVICE, "cleared", "greased", cleared, BY, clears=(raised.id,), signed=BY)
        )


def other_rows(rigs: "Sequence[Listed]", needs: "Sequence[tuple[str, Need]]") -> list[str]:
    """Rigs in service whose row, or place among those rows, is another one in the list of an export.

    The others stand there without the orders that an export can't prove: they aren't compared.
    """
    in_service = [one for one in rigs if one.rig_status.status.level == IN_SERVICE and not one.retired]
    names = {one.name for one in in_service}
    here = [(one.name, one.need) for one in in_service]
    there = [(name, need) for name, need in needs if name in names]
    there = [
        (name, replace(need, cause=need.cause.replace(NO_STATUS, "nothing open"))) for name, need in there
    ]
    return [name for (name, need), other in zip(here, there, strict=True) if (name, need) != other]


def on_parquet(path: Path, rigs: int, today: date) -> list[Row]:
    """The list out of an export, whole processor time and wall clock for 1,000 rigs, reckoned from ``rigs``."""
    from throwbook.jobs.logbook_care import export
    from throwbook.jobs.rig_list import list_rigs
    from throwbook.jobs.trend import fleet_from_export, needs_of
    from throwbook.jobs.worsening import work_out_trends

    build(path, rigs, today)
    work_out_trends(path)
    folder = path.with_name(path.name + "-export")
    export(path, folder, "parquet")
    here, found, rows, spent_s = list_rigs(path, today), {}, [], {}
    for engine, said in (("local", "one process"), ("dask", "Dask, two processes and their start")):

        def work(engine: str = engine) -> None:
            found[engine] = needs_of(list(fleet_from_export(folder, today, engine)), today)

        wall_s, spent_s[engine] = timed(1, work)
        each = f"{1000 * wall_s / rigs:.0f} s ({1000 * spent_s[engine] / rigs:.0f} s of processor)"
        rows.append(Row(f"1,000 rigs of a Parquet export, {said} (from {rigs})", "", each, True))
    hours = 100_000 * spent_s["local"] / rigs / 2 / 3600
    rows.append(Row("100,000 on two cores, reckoned from one process", "", f"{hours:.1f} h", True))
    other = {name for needs in found.values() for name in other_rows(here, needs)}
    rows.append(
        Row("rows of rigs in service that are others there", "0", f"{len(other)} of {rigs}", not other)
    )
    return rows


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def processor_s() -> float:
    """Of this process and of those that it started [s]."""
    spent = [getrusage(who) for who in (RUSAGE_SELF, RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in spent)


def timed(times: int, work: Callable[[], object]) -> tuple[float, float]:
    """Median of the wall clock and of processor time, that of commands too [s]."""
    walls, owns = [], []
    for _ in range(times):
        begun, own = perf_counter(), processor_s()
        work()
        walls.append(perf_counter() - begun)
        owns.append(processor_s() - own)
    return median(walls), median(owns)


def main() -> int:
    from throwbook.core.status.latch import raise_order
    from throwbook.jobs.rig_list import Wanted, list_rigs, pick
    from throwbook.jobs.worsening import SUFFIX

    parser = argparse.ArgumentParser()
    parser.add_argument("--rigs", type=int, default=1000)
    parser.add_argument("--parquet", type=int, default=100, help="rigs of the export; 0: none")
    parser.add_argument("--logbook", type=Path, help="a logbook that is built here, or was before")
    asked = parser.parse_args()
    today = datetime.now(UTC).date()
    with tempfile.TemporaryDirectory() as scratch:
        path = asked.logbook or Path(scratch) / "book"
        if not path.exists():
            begun = perf_counter()
            build(path, asked.rigs, today)
            print(f"logbook of {asked.rigs} rigs written in {perf_counter() - begun:.0f} s")

        def command(*words: str) -> None:
            whole = [sys.executable, "-m", "throwbook", "--logbook", str(path), *words]
            subprocess.run(whole, check=False, stdout=subprocess.DEVNULL)

        path.with_name(path.name + SUFFIX).unlink(missing_ok=True)
        first_s, first_own_s = timed(1, lambda: command("rig", "list"))
        again_s, again_own_s = timed(5, lambda: command("rig", "list"))
        json_s, _ = timed(3, lambda: command("rig", "list", "--json"))
        list_rigs(path, today)
        list_s, list_own_s = timed(7, lambda: list_rigs(path, today))
        rigs = list_rigs(path, today)
        wanted = Wanted("yard 2", ("in service",), unseen_days=30, sort="place")
        pick_s, _ = timed(5, lambda: pick(rigs, wanted, today))
        with open_logbook(path) as book, book.transaction():
            book.add_order(raise_order("rig-0003", "damage", "bent", datetime.now(UTC), BY))
        one_s, _ = timed(1, lambda: command("rig", "list"))
        exported = on_parquet(Path(scratch) / "exported", asked.parquet, today) if asked.parquet else []
    rows = [
        Row(f"rig list of {len(rigs)} rigs as a command, every trend new", "", f"{first_s:.0f} s ({first_own_s:.0f} s of processor)",
            True),
        Row("rig list as a command, from the second run on", "1 s",
            f"{again_s:.2f} s ({again_own_s:.2f} s of processor)", again_s < 1),
        Row("rig list --json, all of them", "", f"{json_s:.2f} s", True),
        Row("rig list as a command, one rig with a new row", "", f"{one_s:.2f} s", True),
        Row("the list itself, in an open program", "0.3 s",
            f"{list_s:.2f} s ({list_own_s:.2f} s of processor)", list_s < 0.3),
        Row("filtered and sorted", "0.3 s", f"{pick_s:.3f} s", pick_s < 0.3),
        *exported,
    ]  # fmt: skip
    print_table(f"All rigs, most pressing first ({load()})", rows)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
