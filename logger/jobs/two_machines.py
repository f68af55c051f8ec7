"""A rig whose file was begun twice, as after a merge of two logbooks: it may be two machines under one name."""

import json
from datetime import datetime
from hashlib import sha256
from itertools import permutations
from typing import TYPE_CHECKING

from logger.core.records.revisions import beginnings, begun_apart, heads
from logger.core.standing.status import raise_order
from logger.errors import InputError
from logger.jobs.rig_change import CAUSE
from logger.jobs.rig_of import rig_from
from logger.logbook import Logbook

if TYPE_CHECKING:
    from collections.abc import Iterable

    from logger.core.records.records import RigRevision

SENTENCE = "two machines may stand under this name: its rig file was begun twice, and the two differ in"


def two_machines(book: Logbook, rig: str) -> tuple[str, str]:
    """A name for the doubt, the same in every copy, and how it is said; both empty where the file was begun once.

    Without a sentence the doubt is settled: somebody joined the two, or they describe the same machine.
    """
    rows = book.read("SELECT id, replaces FROM rig_revision WHERE rig = ?", [rig])
    if len(rows) < 2:
        return "", ""
    replaces = {row[0]: json.loads(row[1]) for row in rows}
    firsts = sorted(row_id for row_id, before in replaces.items() if not before)
    if len(firsts) < 2:
        return "", ""
    name = sha256(f"two machines: {' '.join(firsts)}".encode()).hexdigest()[:32]
    if not begun_apart(replaces):
        return name, ""
    standing = [one for one in book.rig_revisions(rig) if one.id in beginnings(replaces)]
    differ = _differ(standing)
    return name, f"{SENTENCE} {', '.join(differ)}" if differ else ""


def _differ(versions: "Iterable[RigRevision]") -> list[str]:
    """What these versions of a rig file say otherwise of the machine."""
    from logger.core.machine.rig_change import changed_since

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
