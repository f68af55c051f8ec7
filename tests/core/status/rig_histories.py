"""Random histories of a rig in three copies of its logbook: the steps that people and computers take, good and bad.

Raises, repairs, sheets, acceptances, honest and dishonest clearing orders, merges, partial imports, restored copies, wrong
clocks, deleted journals, lost and altered rows. The true sequence is kept beside them, for a judge.
"""

import random
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from throwbook.core.records import Order
from throwbook.core.status.latch import (
    CAUSES,
    DO_NOT_USE,
    IN_SERVICE,
    Proofs,
    RepairProof,
    SheetProof,
    latest,
    raise_order,
    status_of,
)

STEPS = 24
RIG = "yard-loader"
OUT_OF_USE = [cause for cause, (level, _) in CAUSES.items() if level == DO_NOT_USE]
FLAWS = (
    "found",
    "fixed",
    "cause",
    "kind",
    "acceptance",
    "sheet signature",
    "signature",
    "one is not named",
    "repair after the sheet",
    "raise after the repair",
    "raise after the sheet",
)


@dataclass
class Copy:
    """One logbook file on one computer."""

    orders: dict[str, Order] = field(default_factory=dict)
    sheets: dict[str, SheetProof] = field(default_factory=dict)
    services: dict[str, RepairProof] = field(default_factory=dict)
    altered: set[str] = field(default_factory=set)
    journal: list[str] = field(default_factory=list)
    """Trials still being recorded."""

    def clone(self) -> "Copy":
        return Copy(
            dict(self.orders), dict(self.sheets), dict(self.services), set(self.altered), list(self.journal)
        )

    def status(self, rng: random.Random | None = None):
        orders = list(self.orders.values())
        if rng:
            rng.shuffle(orders)
        return status_of(RIG, orders, Proofs(self.sheets, self.services), self.altered)


class History:
    """Three copies, a true clock for the judge, a wrong one for the orders."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.copies = [Copy() for _ in range(3)]
        self.kept: list[tuple[int, Copy]] = []
        self.born: dict[str, int] = {}
        """True step at which a row was written."""
        self.true_orders: dict[str, Order] = {}
        self.step = 0

    def name(self, kind: str) -> str:
        made = f"{kind}{len(self.born)}"
        self.born[made] = self.step
        return made

    def clock(self) -> datetime:
        return datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=self.rng.randint(-9000, 9000))

    def write(self, copy: Copy, order: Order) -> None:
        order = replace(order, id=self.name("o"), previous=latest(copy.orders.values()))
        copy.orders[order.id] = order
        self.true_orders[order.id] = order

    # ---- the steps ----

    def record_starts(self, copy: Copy) -> None:
        copy.journal.append(self.name("t"))

    def record_ends_badly(self, copy: Copy) -> None:
        if copy.journal:
            cause = self.rng.choice(OUT_OF_USE)
            self.write(copy, raise_order(RIG, cause, "", self.clock(), "x", trial=copy.journal.pop()))

    def journal_is_deleted(self, copy: Copy) -> None:
        copy.journal.clear()

    def person_raises(self, copy: Copy) -> None:
        self.write(copy, raise_order(RIG, self.rng.choice(list(CAUSES)), "", self.clock(), "M. K."))

    def service(self, copy: Copy) -> None:
        known = list(copy.status().open_ids)
        answers = (
            known if self.rng.random() < 0.8 else self.rng.sample(known, self.rng.randint(0, len(known)))
        )
        found, fixed = (self.rng.choice(["bent pin", "bent pin", "bent pin", ""]) for _ in range(2))
        made = RepairProof(self.name("v"), RIG, found, fixed, frozenset(answers))
        copy.services[made.id] = made

    def plan_sheet(self, copy: Copy) -> None:
        kind = self.rng.choice(["commissioning"] * 4 + ["seasonal"])
        answers, services = frozenset(copy.status().open_ids), frozenset(copy.services)
        made = SheetProof(self.name("s"), RIG, kind, False, "", answers, services)
        copy.sheets[made.id] = made

    def accept_sheet(self, copy: Copy) -> None:
        if copy.sheets:
            key = self.rng.choice(list(copy.sheets))
            signed = self.rng.choice(["M. K.", "M. K.", "M. K.", " "])
            copy.sheets[key] = replace(copy.sheets[key], accepted=True, signed=signed)

    def clear(self, copy: Copy) -> None:
        rng = self.rng
        raises = list(copy.status().open_ids) or ["o999"]
        named = (
            tuple(raises) if rng.random() < 0.7 else tuple(rng.sample(raises, rng.randint(1, len(raises))))
        )
        newest = rng.random() < 0.7
        order = Order(
            RIG,
            IN_SERVICE,
            "cleared",
            rng.choice(["proved", "proved", ""]),
            self.clock(),
            "x",
            clears=named,
            signed=rng.choice(["M. K."] * 4 + [""]),
            sheet=self._one_of(copy.sheets, newest),
            service=self._one_of(copy.services, newest),
            details={"cause_found": rng.choice(["bent pin"] * 4 + [" "])},
        )
        self.write(copy, order)

    def _one_of(self, rows: dict[str, object], newest: bool) -> str | None:
        if not rows:
            return None
        return max(rows, key=self.born.__getitem__) if newest else self.rng.choice(list(rows))

    def merge(self, copy: Copy) -> None:
        other = self.rng.choice(self.copies)
        self.take(copy, other, 1.0)

    def import_in_part(self, copy: Copy) -> None:
        self.take(copy, self.rng.choice(self.copies), 0.5)

    def take(self, copy: Copy, other: Copy, share: float) -> None:
        for key, order in list(other.orders.items()):
            if self.rng.random() < share and key not in other.altered:
                copy.orders.setdefault(key, order)
        for key, sheet in list(other.sheets.items()):
            if self.rng.random() < share and (key not in copy.sheets or sheet.accepted):
                copy.sheets[key] = sheet
        for key, repair in list(other.services.items()):
            if self.rng.random() < share:
                copy.services.setdefault(key, repair)

    def keep_a_copy(self, copy: Copy) -> None:
        self.kept.append((self.copies.index(copy), copy.clone()))

    def restore_a_copy(self, copy: Copy) -> None:
        if self.kept:
            index, old = self.rng.choice(self.kept)
            self.copies[index] = old.clone()

    def lose_a_row(self, copy: Copy) -> None:
        for rows in (copy.orders, copy.sheets, copy.services):
            if rows and self.rng.random() < 0.3:
                del rows[self.rng.choice(list(rows))]

    def alter_a_row(self, copy: Copy) -> None:
        if copy.orders:
            key = self.rng.choice(list(copy.orders))
            others = tuple(one for one in copy.orders if one != key)
            change = self.rng.choice(
                [{"clears": others}, {"level": IN_SERVICE}, {"signed": "M. K."}, {"cause": "watch sign"}]
            )
            copy.orders[key] = replace(copy.orders[key], **change)
            copy.altered.add(key)

    def walk_the_way_back(self, copy: Copy, flaw: str = "") -> None:
        """Repair, plan, accept, sign, each after the other; with ``flaw`` one thing is left out or comes too early."""
        if not copy.status().open:
            return
        repair = RepairProof(
            self.next_name("v"),
            RIG,
            "" if flaw == "found" else "bent pin",
            "" if flaw == "fixed" else "new pin",
            frozenset(copy.status().open_ids),
        )
        if flaw != "repair after the sheet":
            copy.services[repair.id] = repair
        if flaw == "raise after the repair":
            self.next_raise(copy)
        sheet = SheetProof(
            self.next_name("s"),
            RIG,
            "seasonal" if flaw == "kind" else "commissioning",
            flaw != "acceptance",
            "" if flaw == "sheet signature" else "M. K.",
            frozenset(copy.status().open_ids),
            frozenset(copy.services),
        )
        copy.sheets[sheet.id] = sheet
        if flaw == "repair after the sheet":
            repair = replace(repair, id=self.next_name("v"))
            copy.services[repair.id] = repair
        if flaw == "raise after the sheet":
            self.next_raise(copy)
        self.step += 1
        named = copy.status().open_ids
        order = Order(
            RIG,
            IN_SERVICE,
            "cleared",
            "proved",
            self.clock(),
            "x",
            clears=named[1:] if flaw == "one is not named" else named,
            signed="" if flaw == "signature" else "M. K.",
            sheet=sheet.id,
            service=repair.id,
            details={"cause_found": "" if flaw == "cause" else "bent pin"},
        )
        if order.clears:
            self.write(copy, order)

    def walk_with_a_flaw(self, copy: Copy) -> None:
        self.walk_the_way_back(copy, self.rng.choice(FLAWS))

    def next_name(self, kind: str) -> str:
        self.step += 1
        return self.name(kind)

    def next_raise(self, copy: Copy) -> None:
        self.step += 1
        self.write(copy, raise_order(RIG, self.rng.choice(OUT_OF_USE), "", self.clock(), "x"))

    def steps(self):
        return [
            (self.record_starts, 3),
            (self.record_ends_badly, 4),
            (self.journal_is_deleted, 1),
            (self.person_raises, 2),
            (self.service, 3),
            (self.plan_sheet, 3),
            (self.accept_sheet, 3),
            (self.clear, 4),
            (self.walk_the_way_back, 2),
            (self.walk_with_a_flaw, 3),
            (self.merge, 3),
            (self.import_in_part, 1),
            (self.keep_a_copy, 1),
            (self.restore_a_copy, 1),
            (self.lose_a_row, 1),
            (self.alter_a_row, 1),
        ]

    def play(self) -> None:
        steps = list(self.steps())
        moves = self.rng.choices([s for s, _ in steps], weights=[w for _, w in steps], k=STEPS)
        for move in moves:
            self.step += 1
            copy = self.rng.choice(self.copies)
            move(copy)
            self.over(copy)

    def over(self, copy: Copy) -> None:
        """A step is over; the histories with throws keep a list of what it wrote."""
