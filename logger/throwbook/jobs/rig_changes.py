"""A rig whose file changed after its commissioning, or was begun twice, as after a merge: its status is tightened."""

import json
from datetime import datetime
from hashlib import sha256
from itertools import combinations, permutations
from typing import TYPE_CHECKING

from throwbook.core.records import BENCH, beginnings, heads
from throwbook.core.status.latch import raise_order
from throwbook.errors import InputError
from throwbook.jobs.find import rig_from
from throwbook.logbook import Logbook
from throwbook.logbook.store import Missing

if TYPE_CHECKING:
    from collections.abc import Iterable

    from throwbook.core.records import RigRevision, Sheet
    from throwbook.core.rig import Rig
    from throwbook.core.trace import Trace


CAUSE = "rig changed"
"""In ``core.status.CAUSES``."""


def raise_for_change(book: Logbook, before: "RigRevision", after: "Rig", by: str, now: datetime) -> bool:
    """Write the order that a new version of a commissioned rig's file gives rise to; whether it did."""
    from throwbook.core.machine.rig_validation import changed_since

    if not book.commissioned(after.name):
        return False
    changed = changed_since(rig_from(before), after)
    if changed:
        book.add_order(raise_order(after.name, CAUSE, ", ".join(changed), now, by))
    return bool(changed)


NEWEST_BEFORE = """
    SELECT head FROM placement JOIN trial ON trial.id = placement.trial JOIN sheet ON sheet.id = placement.sheet
    WHERE trial.rig = ? AND kind <> ? AND instr(head, '"board":') AND julianday(trial.started) < julianday(?)
    ORDER BY julianday(trial.started) DESC LIMIT 1
"""
"""What the newest throw says that a board recorded on the machine before."""


def switches_fitted(book: Logbook, rig: str, before: str = "9999-12-31") -> tuple[str, ...]:
    """The sides that had a pin switch at the newest throw on the machine that a board recorded before that day or time."""
    from throwbook.core.trace import SWITCHES_FITTED

    rows = book.read(NEWEST_BEFORE, [rig, BENCH, before])
    return tuple(json.loads(rows[0][0]).get(SWITCHES_FITTED, ())) if rows else ()


def raise_for_switches(book: Logbook, sheet: "Sheet", trace: "Trace", by: str, now: datetime) -> bool:
    """Write the order that a pin switch gives rise to which the board no longer has; whether it did.

    ``trace``: a throw for this sheet that isn't logged yet. A rig that nobody has commissioned gives rise to none, nor does
    a throw on the bench.
    """
    from throwbook.core.wording import switch_name

    recorded = "board" in trace.head and trace.started is not None
    if not recorded or sheet.kind == BENCH or not book.commissioned(sheet.rig):
        return False
    before = switches_fitted(book, sheet.rig, str(trace.started))
    gone = [f"{switch_name(side)} no longer fitted" for side in before if side not in trace.switches_fitted]
    if gone:
        book.add_order(raise_order(sheet.rig, CAUSE, ", ".join(gone), now, by))
    return bool(gone)


SENTENCE = "there may be two machines under this name: its rig file was started twice, and the two differ in"
BEGUN_TWICE = "SELECT rig FROM rig_revision WHERE replaces = '[]' GROUP BY rig HAVING count(*) > 1"


def two_machines(book: Logbook) -> list[Missing]:
    """Rigs whose file was begun twice, that nobody joined, and whose versions differ in what the machine is."""
    found = []
    for (rig,) in book.read(BEGUN_TWICE):
        versions = {one.id: one for one in book.rig_revisions(rig)}
        firsts = beginnings({one.id: one.replaces for one in versions.values()})
        for one, other in combinations(sorted(firsts), 2):
            differ = [] if firsts[one] & firsts[other] else _differ([versions[one], versions[other]])
            if differ:
                name = _name(min(firsts[one]), min(firsts[other]))
                found.append(Missing(name, "", rig, f"{SENTENCE} {', '.join(differ)}"))
    return found


def doubts_of(book: Logbook, rig: str) -> frozenset[str]:
    """Names of all such doubts about a rig, settled or not: a clearing order that gives one names no lost order."""
    firsts = [one.id for one in book.rig_revisions(rig) if not one.replaces]
    return frozenset(_name(one, other) for one, other in combinations(firsts, 2))


def _name(one: str, other: str) -> str:
    """The same in every copy, whatever was added since."""
    return sha256(f"two machines: {' '.join(sorted((one, other)))}".encode()).hexdigest()[:32]


def _differ(versions: "Iterable[RigRevision]") -> list[str]:
    """What these versions of a rig file say otherwise of the machine."""
    from throwbook.core.machine.rig_validation import changed_since

    found: list[str] = []
    for one, other in permutations(versions, 2):
        try:
            found += changed_since(rig_from(one), rig_from(other))
        except InputError:  # a version that can't be read says nothing of the machine
            found += ["their text"] if one.toml != other.toml else []
    return list(dict.fromkeys(found))


def raise_for_joined(book: Logbook, rig: str, by: str, now: datetime) -> None:
    """After a person said that it is one machine: where the rig files differed in what it is, an order holds it."""
    [joined] = heads(book.rig_revisions(rig))
    before = [one for one in book.rig_revisions(rig) if one.id in joined.replaces]
    differ = _differ([*before, joined])
    if differ:
        book.add_order(raise_order(rig, CAUSE, ", ".join(differ), now, by))
