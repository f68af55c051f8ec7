"""An open logbook for a list of all its rigs: what a status asks of each is read once for all of them, not rig by rig.

The answers are those of ``Logbook``; only the way to them is shorter. Good for one look: it knows nothing of rows that
are written later, so use it inside ``snapshot``.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from functools import cached_property

from throwbook.core.records import (
    ACCEPTED,
    COMMISSIONING,
    REJECTED,
    Order,
    RigRevision,
    Service,
    current,
    heads,
)
from throwbook.logbook import Logbook
from throwbook.logbook.rigs import SETS_CHECK
from throwbook.logbook.schema import grouped, to_json
from throwbook.logbook.seals import ORDERS_NAMED

NEWEST = f"""
    SELECT newest.rig, substr(newest.started, 1, 10) FROM rig
    CROSS JOIN trial AS newest ON newest.rig = rig.name
        AND newest.started = (SELECT max(started) FROM trial WHERE rig = rig.name AND started < :after)
    CROSS JOIN placement ON placement.trial = newest.id CROSS JOIN sheet ON sheet.id = placement.sheet
    WHERE sheet.kind IN (SELECT value FROM json_each(:kinds))
        AND EXISTS (SELECT 1 FROM decision WHERE decision.sheet = sheet.id AND outcome = '{ACCEPTED}')
        AND NOT EXISTS (SELECT 1 FROM decision WHERE decision.sheet = sheet.id AND outcome = '{REJECTED}')
        AND EXISTS (SELECT 1 FROM seal WHERE seal.sheet = sheet.id)
        AND NOT EXISTS (SELECT 1 FROM placement AS out
            WHERE out.trial = newest.id AND out.sheet = sheet.id AND out.left_out <> '')
"""
"""Rigs whose newest throw of all is one that an accepted sheet counts, with its day: the others are asked one by one."""


class AllRigs(Logbook):
    """Shares the connection of the logbook it is made from, which closes it."""

    @classmethod
    def of(cls, book: Logbook) -> "AllRigs":
        """The same logbook, read at once."""
        return cls(book.path, book.db, book.read_only, None)

    @cached_property
    def _revisions(self) -> dict[str, list[RigRevision]]:
        return grouped((row.rig, row) for row in self.select(RigRevision))

    @cached_property
    def _practice(self) -> bool:
        return super().for_practice()

    @cached_property
    def _orders(self) -> dict[str, list[Order]]:
        return grouped((row.rig, row) for row in self.select(Order, "ORDER BY at, id"))

    @cached_property
    def _altered(self) -> frozenset[str]:
        return frozenset(each.id for each in self.altered("latch_order"))

    @cached_property
    def _named(self) -> dict[str, set[str]]:
        found: dict[str, set[str]] = defaultdict(set)
        for rig, order in self.read(ORDERS_NAMED.format(where="")):
            found[rig].add(str(order))
        return found

    @cached_property
    def _commissioned(self) -> frozenset[str]:
        rows = self.read(
            # "+": in the order of the rows, as the sheets lie in the file
            "SELECT rig, outcome, decision.replaces <> '[]' OR count(*) > 1 FROM sheet CROSS JOIN decision ON sheet = sheet.id"
            " WHERE kind = ? GROUP BY +sheet.id",
            [COMMISSIONING],
        )
        plain = {rig for rig, outcome, again in rows if outcome == ACCEPTED and not again}
        again = {rig for rig, _, again in rows if again} - plain
        return frozenset(plain | {rig for rig in again if super(AllRigs, self).commissioned(rig)})

    @cached_property
    def _setting_checks(self) -> frozenset[str]:
        return frozenset(row[0] for row in self.read(f"SELECT DISTINCT rig FROM service WHERE {SETS_CHECK}"))

    @cached_property
    def _undated(self) -> frozenset[str]:
        undated = "EXISTS (SELECT 1 FROM trial WHERE rig = name AND started IS NULL)"
        return frozenset(row[0] for row in self.read(f"SELECT name FROM rig WHERE {undated}"))

    @cached_property
    def _services(self) -> dict[str, list[Service]]:
        """Of the rigs with an order that clears others: their evidence is asked for."""
        clearing = "(SELECT rig FROM latch_order WHERE clears <> '[]')"
        rows = self.select(Service, f"WHERE rig IN {clearing} ORDER BY at, id")
        return grouped((row.rig, row) for row in rows)

    def rig(self, name: str) -> RigRevision:
        """As ``Logbook`` has it."""
        return current(self._revisions.get(name, ())) or super().rig(name)

    def rig_revisions(self, name: str) -> list[RigRevision]:
        """As ``Logbook`` has it."""
        return sorted(self._revisions.get(name, ()), key=lambda one: (one.at, one.id))

    def for_practice(self) -> bool:
        """As ``Logbook`` has it."""
        return self._practice

    def orders(self, rig: str) -> list[Order]:
        """As ``Logbook`` has it."""
        return self._orders.get(rig, [])

    def altered_orders(self, rig: str) -> frozenset[str]:
        """As ``Logbook`` has it."""
        return self._altered & {one.id for one in self.orders(rig)}

    def orders_named(self, rig: str) -> frozenset[str]:
        """As ``Logbook`` has it."""
        return frozenset(self._named.get(rig, ()))

    def commissioned(self, rig: str) -> bool:
        """As ``Logbook`` has it."""
        return rig in self._commissioned

    def services(self, rig: str, every_revision: bool = False) -> list[Service]:
        """As ``Logbook`` has it."""
        if rig not in self._services:
            return super().services(rig, every_revision)
        rows = self._services[rig]
        return list(rows) if every_revision else heads(rows)

    def services_with_checks(self, rig: str) -> list[Service]:
        """As ``Logbook`` has it."""
        return super().services_with_checks(rig) if rig in self._setting_checks else []

    def newest_check(self, rig: str, kinds: Sequence[str], until: date) -> date | None:
        """As ``Logbook`` has it; most rigs' newest throw stands on an accepted sheet."""
        if rig in self._undated:
            return super().newest_check(rig, kinds, until)
        key = (tuple(kinds), until)
        if key not in self._newest:
            after = until + timedelta(days=1)
            rows = self.read(NEWEST, {"after": after.isoformat(), "kinds": to_json(list(kinds))})
            self._newest[key] = {row[0]: date.fromisoformat(row[1]) for row in rows}
        return self._newest[key].get(rig) or super().newest_check(rig, kinds, until)

    @cached_property
    def _newest(self) -> dict[tuple[tuple[str, ...], date], dict[str, date]]:
        return {}
