"""Seals: what a decided sheet rested on, summed and chained, so that any later change is found.

Summed is the SHA-256 (FIPS 180-4) of JSON in one form only (``schema.to_json``), over the sheet's rows *and* the seal of the
sheet before it: a sheet changed, taken out or put in later breaks every seal after it.
"""

import hashlib
from collections import defaultdict
from collections.abc import Container, Iterable
from datetime import datetime
from typing import Any

from throwbook.core.records import Fact, Seal
from throwbook.logbook.schema import BY_NAME, to_json
from throwbook.logbook.store import Store

FIRST = ""
"""What the first sheet of a rig is chained to."""
SEAL_FORM = "throwbook-seal-1"


def content_id(content: Any) -> str:
    """SHA-256 of the one form in which ``content`` is written as JSON, 64 hexadecimal digits."""
    return hashlib.sha256(to_json(content).encode()).hexdigest()


def seal_of(content: Any, before: str = FIRST) -> str:
    """Seal of one accepted sheet: its content and the seal ``before`` it."""
    return content_id(_summed_last(content, before))


def _summed_last(content: Any, before: str) -> dict[str, str]:
    return {"form": SEAL_FORM, "before": before, "content": content_id(content)}


ON_SHEET = {
    "sheet": "WHERE id = :sheet",
    "answers": "WHERE sheet = :sheet",
    "trial": "WHERE id IN (SELECT trial FROM placement WHERE sheet = :sheet)",
    "meter": "WHERE id IN (SELECT each.value FROM trial, json_each(trial.hand, '$.instruments.meters') AS each"
    " WHERE trial.id IN (SELECT trial FROM placement WHERE sheet = :sheet))",
    "placement": "WHERE sheet = :sheet",
    "sighting": "WHERE trial IN (SELECT trial FROM placement WHERE sheet = :sheet)",
    "photograph": "WHERE trial IN (SELECT trial FROM placement WHERE sheet = :sheet)",
    "judgement": "WHERE trial IN (SELECT trial FROM placement WHERE sheet = :sheet)",
    "decision": "WHERE sheet = :sheet",
}
"""Sealed with their sheet. Samples and pictures are in by their digest, which stands in the trial and in the photograph."""
OF_RIG = ("rig_revision", "service", "baseline", "latch_order")
"""Sealed with the first sheet that is decided after they were written."""
ORDERS_NAMED = (
    # most seals cover no order: those aren't taken apart (LIKE looks through a text in half the time of instr)
    "SELECT rig, substr(each.value, 13) FROM seal, json_each(seal.covers) AS each"
    " WHERE covers LIKE '%latch_order:%' AND substr(each.value, 1, 12) = 'latch_order:' {where}"
    " UNION SELECT rig, each.value FROM sheet, json_each(sheet.plan, '$.answers') AS each WHERE 1 {where}"
    " UNION SELECT rig, each.value FROM service, json_each(service.details, '$.answers') AS each WHERE 1 {where}"
)
"""Rig and order; ``where`` narrows them."""


class SealStore(Store):
    """Sealing, and reading the facts again that a seal covers."""

    def seal_sheet(self, sheet: str, decision: str, now: datetime) -> Seal:
        """Seal a sheet as it stands, chained to the rig's last seals. Call it right after ``decide``."""

        with self.transaction():
            rig = self.read("SELECT rig FROM sheet WHERE id = ?", [sheet])[0][0]
            earlier = self.seals(rig)
            last = _last(earlier)
            facts = self._sealable(sheet, rig, {each for seal in earlier for each in seal.covers})
            digest = seal_of(content_of(facts), before(last))
            covers = tuple(_name(each) for each in facts)
            previous = tuple(seal.id for seal in last)
            return self.add(Seal(rig, sheet, decision, digest, covers, previous, now))

    def seals(self, rig: str) -> list[Seal]:
        """Every seal of a rig, oldest first."""
        return self.select(Seal, "WHERE rig = ? ORDER BY at, id", [rig])

    def broken_seals(self, rig: str, sheets: Container[str] | None = None) -> list[tuple[Seal, str]]:
        """Seals that no longer match what is stored, and why; those of the ``sheets`` with these ids, None: of all."""

        seals = {seal.id: seal for seal in self.seals(rig)}
        broken = []
        for seal in seals.values():
            if sheets is not None and seal.sheet not in sheets:
                continue
            facts = self.covered(seal)
            missing = len(set(seal.covers) - {_name(each) for each in facts})
            if missing:
                broken.append((seal, f"{missing} of the {len(seal.covers)} rows it was sealed with are gone"))
            elif not set(seal.previous) <= set(seals):
                broken.append((seal, "a sheet sealed before it was changed or taken out"))
            elif seal_of(content_of(facts), before(seals[each] for each in seal.previous)) != seal.digest:
                broken.append((seal, "changed after it was sealed"))
        return broken

    def summed(self, rig: str) -> list[tuple[Seal, str, str]]:
        """Each seal with the two texts that it sums, oldest first: the rows it covers, and what names their SHA-256.

        The SHA-256 of the first text stands in the second, beside the digests of the seals before; that of the second is the
        seal's digest, unless something was changed.
        """
        seals = {seal.id: seal for seal in self.seals(rig)}
        found = []
        for seal in seals.values():
            content = content_of(self.covered(seal))
            earlier = before(seals[each] for each in seal.previous if each in seals)
            found.append((seal, to_json(content), to_json(_summed_last(content, earlier))))
        return found

    def orders_named(self, rig: str) -> frozenset[str]:
        """Ids of the orders that the rig's seals, plans and service entries name: each must be among its orders."""
        rows = self.read(ORDERS_NAMED.format(where="AND rig = :rig"), {"rig": rig})
        return frozenset(str(row[1]) for row in rows)

    def covered(self, seal: Seal) -> list[Fact]:
        """The rows that a seal covers as they are stored now, in the seal's order; rows that are gone are left out."""
        named: dict[str, set[str]] = defaultdict(set)
        for each in seal.covers:
            table, _, row_id = each.partition(":")
            named[table].add(row_id)
        found = []
        for table, ids in named.items():
            if BY_NAME[table].key == ("id",):
                found += [row for each in ids for row in self.stored(table, "WHERE id = ?", [each])]
            else:
                rows = self.stored(table, ON_SHEET[table], {"sheet": seal.sheet})
                found += [row for row in rows if row.id in ids]
        return sorted(found, key=_name)

    def _sealable(self, sheet: str, rig: str, sealed: set[str]) -> list[Fact]:
        found = []
        for table, where in ON_SHEET.items():
            found += self.stored(table, where, {"sheet": sheet})
        for table in OF_RIG:
            rows = self.stored(table, "WHERE rig = ?", [rig])
            found += [row for row in rows if f"{table}:{row.id}" not in sealed]
        return sorted(found, key=_name)


def _name(fact: Fact) -> str:
    return f"{fact.table}:{fact.id}"


def content_of(facts: Iterable[Fact]) -> list[list[object]]:
    """What is summed for a seal: table, id and content of each row."""
    return [[each.table, each.id, each.content] for each in facts]


def before(seals: Iterable[Seal]) -> str:
    """The digests a seal is chained to, as one text; two after a merge."""
    return "+".join(sorted(seal.digest for seal in seals))


def _last(seals: Iterable[Seal]) -> list[Seal]:
    listed = list(seals)
    chained = {old for seal in listed for old in seal.previous}
    return [seal for seal in listed if seal.id not in chained]
