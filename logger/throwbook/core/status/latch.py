"""The status of a rig: a latch that goes up at once and comes down only by a signed entry.

    in service  ->  watch  ->  restricted  ->  do not use

The status is worked out from a *set* of orders, never from a stored field and never from the order of clocks:

* A **raise** names its cause; the cause's level stands in ``CAUSES``. It stays open until a clearing order names it.
* A **clear** counts for exactly the raises it names, and only with everything that ``NEEDS_TO_CLEAR`` asks for that level.
* A raise found in a trial is known by trial and cause, so that two logbooks that hold the same trial agree.
* An order's id is the hash of its content, and a sheet or service entry names the raises it answers from the moment it
  was planned. So the same order met twice (import, merge, a restored copy) is one, and nobody could have named it before
  it was written: that, not a clock, proves that the repair and the recommissioning came after the stall.
* What isn't judged yet holds the rig without an order (``Pending``): no signature eases it, only the judging.
* A row of any other kind that was taken out of the logbook holds the rig at ``restricted`` until somebody signs for it.
* An order names the latest ones its writer could see. One that is named but isn't there was lost: until it is merged
  back, or answered like the worst, the rig is at ``do not use``. So it is where a stored throw or sighting must have
  taken it out of use and the order for that isn't there.
* A signed correction eases the raises of an imported throw that is another rig's, once the order stands there.
"""

from collections.abc import Collection, Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from hashlib import sha256
from types import MappingProxyType
from typing import Any, Protocol

from throwbook.core.quantities.text import is_name, written
from throwbook.core.records import COMMISSIONING, Order
from throwbook.core.status.maintenance import is_repair
from throwbook.core.wording import ORDER_CAUSES

IN_SERVICE = "in service"
WATCH = "watch"
RESTRICTED = "restricted"
DO_NOT_USE = "do not use"
LEVELS = (IN_SERVICE, WATCH, RESTRICTED, DO_NOT_USE)


# cause: its level. The first block is that of the guide (method.md, Status); the rest is common practice, no source.
_LEVEL_OF: dict[str, str] = {
    "pin not seen": DO_NOT_USE,
    "stall": DO_NOT_USE,
    "stopped short": DO_NOT_USE,
    "light run": DO_NOT_USE,
    "no end": DO_NOT_USE,
    "let go": DO_NOT_USE,
    "load check failed": DO_NOT_USE,
    "damage": DO_NOT_USE,
    "switch open": DO_NOT_USE,
    "switch at unlock": RESTRICTED,
    "end stop": RESTRICTED,
    "unlock stopped short": RESTRICTED,
    "no start": RESTRICTED,
    "failed limit": RESTRICTED,
    "rig changed": RESTRICTED,
    "acceptance lapsed": RESTRICTED,
    "unread recording": RESTRICTED,
    "shared record": RESTRICTED,
    "restored backup": RESTRICTED,
    "reassigned throw": WATCH,
    "watch sign": WATCH,
    "person: watch": WATCH,
    "person: restricted": RESTRICTED,
    "person: do not use": DO_NOT_USE,
}
CAUSES = {cause: (level, ORDER_CAUSES[cause]) for cause, level in _LEVEL_OF.items()}
"""Cause: its level, and the sentence that a person reads."""
BY_PERSON = "person: "
LOST = "lost order"
LOST_SENTENCE = "an order named by a later entry is missing from this logbook"
GONE_SENTENCE = "the order for a stored throw is missing from this logbook"
MISSING = "missing row"
ALTERED = "altered order"
ALTERED_SENTENCE = "an order was changed after it was written"
Due = tuple[str, str]
"""Trial and cause of an order that takes the rig out of use and must be there, by what is stored of that throw."""
SIGNED = "signed"
REASON = "reason"
CAUSE_FOUND = "cause found"
REPAIR = "repair"
RECOMMISSIONED = "recommissioned"
MOVED = "moved"
MOVED_TO = "moved_to"
"""Detail of a clearing order: the trials of another rig that this one's imported throws are, by a signed correction."""
REASSIGNED = "reassigned throw"
TO_RIG = "to"
"""Detail of such an order: the rig that the throw is of; empty: none."""


# level: what a clearing order must bring, for each raise it names.
NEEDS_TO_CLEAR: dict[str, tuple[str, ...]] = {
    WATCH: (REASON, SIGNED),
    RESTRICTED: (REASON, SIGNED),
    DO_NOT_USE: (CAUSE_FOUND, REPAIR, RECOMMISSIONED, SIGNED),
}

# The one exception (guide, method.md, Status): an imported throw is of another rig, and the order stands there; or it is of nobody.
NEEDS_OF_MOVED = (REASON, SIGNED, MOVED)
NEEDS_OF_NOBODYS = (CAUSE_FOUND, RECOMMISSIONED, SIGNED)

# need: how it is said when it lacks.
NEED_SAID: dict[str, str] = {
    REASON: "no reason given",
    SIGNED: "not signed with a name",
    CAUSE_FOUND: "no cause is recorded",
    REPAIR: "no repair is logged for it (action, found and fixed must all be filled in)",
    RECOMMISSIONED: "no accepted commissioning sheet planned after the order and after the repair",
    MOVED: "the throw was not imported, or its order is not on the rig that is named",
}


@dataclass(frozen=True)
class SheetProof:
    """What the latch needs to know of a sheet. Build it only from a sheet whose acceptance was worked out anew."""

    id: str
    rig: str
    kind: str
    accepted: bool
    signed: str
    answers: frozenset[str]
    """Ids of the raises that were open when it was planned."""
    services: frozenset[str]
    """Ids of the service entries that were logged when it was planned."""


@dataclass(frozen=True)
class RepairProof:
    """What the latch needs to know of a service entry."""

    id: str
    rig: str
    found: str
    fixed: str
    answers: frozenset[str]
    """Ids of the raises it was written for."""
    action: str = "repaired"
    """A key of ``service.ACTIONS``."""


@dataclass(frozen=True)
class Proofs:
    """The sheets and service entries that this logbook holds, by id."""

    sheets: Mapping[str, SheetProof] = field(default_factory=dict)
    services: Mapping[str, RepairProof] = field(default_factory=dict)
    imported: frozenset[str] = frozenset()
    """Trials that were imported and stand on no sheet that was ever accepted, as far as orders ask."""
    moved: frozenset[tuple[str, str]] = frozenset()
    """Id of a raise, and a trial of the same samples on another rig on which an order of the same cause stands."""


@dataclass(frozen=True)
class OpenRaise:
    """What holds the rig where it is: a raise, or several of the same cause in the same trial."""

    ids: tuple[str, ...]
    cause: str
    level: str
    sentence: str
    nobodys: bool = False
    """A signed correction says that its throw, an imported one, is of no rig here."""
    sign: str = ""
    """The sign, or the alert limit, that it was written for; empty: none, or several."""

    @property
    def needs(self) -> tuple[str, ...]:
        """What a clearing order must bring."""
        return NEEDS_OF_NOBODYS if self.nobodys and self.level == DO_NOT_USE else NEEDS_TO_CLEAR[self.level]


@dataclass(frozen=True)
class RefusedClearance:
    """A clearing order that doesn't count for one of the raises it names, and why."""

    order: str
    raised: str
    because: tuple[str, ...]


@dataclass(frozen=True)
class Pending:
    """What holds the rig until it is judged: no order, so no signature eases it."""

    level: str
    sentence: str
    step: str
    """What judges it."""
    journal: str = ""
    """Path of the unfinished recording; empty: it is none."""


@dataclass(frozen=True)
class Status:
    """Where the rig stands and what holds it there."""

    level: str
    open: tuple[OpenRaise, ...]
    """Worst first."""
    refused: tuple[RefusedClearance, ...]
    pending: tuple[Pending, ...] = ()

    @property
    def open_ids(self) -> tuple[str, ...]:
        """Every order id that a sheet or a service entry written now answers."""
        return tuple(sorted(name for one in self.open for name in one.ids))


def worst(levels: Iterable[str]) -> str:
    """The highest of the levels (one this version doesn't know is the highest); none: ``in service``."""
    return max((one if one in LEVELS else DO_NOT_USE for one in levels), key=LEVELS.index, default=IN_SERVICE)


def with_pending(status: Status, pending: Iterable[Pending]) -> Status:
    """The same rig, held as well by what isn't judged yet."""
    pending = tuple(pending)
    if not pending:
        return status
    level = worst((status.level, *(one.level for one in pending)))
    return replace(status, level=level, pending=status.pending + pending)


def level_of(order: Order) -> str:
    """The level a raise asks for: never less than its cause's; an unknown cause counts as the worst."""
    return worst((order.level, CAUSES.get(order.cause, (DO_NOT_USE, ""))[0]))


def answers_out_of_use(
    answered: Iterable[str], orders: Iterable[Order], altered: Container[str] = frozenset()
) -> bool:
    """Whether one of the orders ``answered`` took the rig out of use; one that isn't there, or was changed, counts as one
    that did."""
    levels = {order.id: DO_NOT_USE if order.id in altered else level_of(order) for order in orders}
    return any(levels.get(name, DO_NOT_USE) == DO_NOT_USE for name in answered)


OUT = "NOT in its hole"
"""What a person saw of a pin; it needs no other word before it. Orders of before name the side alone."""


def sentence_of(order: Order) -> str:
    """A raise as a person reads it."""
    said = CAUSES.get(order.cause, ("", order.cause))[1]
    if order.because and (order.cause == "watch sign" or OUT in order.because):
        return order.because
    head = said if order.cause.startswith(BY_PERSON) else order.cause
    return f"{head}: {order.because}" if order.because else said


def latest(orders: Iterable[Order]) -> tuple[str, ...]:
    """What a new order names in ``previous``: every order that no other one names there yet."""
    orders = list(orders)
    named = {name for order in orders for name in order.previous}
    return tuple(sorted({order.id for order in orders} - named))


def raise_order(
    rig: str,
    cause: str,
    because: str,
    at: datetime,
    by: str,
    *,
    trial: str | None = None,
    sheet: str | None = None,
    service: str | None = None,
    sign: str = "",
    signed: str = "",
    details: Mapping[str, Any] | None = None,
    previous: tuple[str, ...] = (),
) -> Order:
    """An order that takes the rig up to its cause's level (a key of ``CAUSES``)."""
    level, _ = CAUSES[cause]
    return Order(
        rig,
        level,
        cause,
        because,
        at,
        by,
        trial=trial,
        sheet=sheet,
        service=service,
        details={"sign": sign} if sign else dict(details or {}),
        signed=signed,
        previous=previous,
    )


def lacks(order: Order, raised: str, held: OpenRaise, evidence: Proofs) -> tuple[str, ...]:
    """What a clearing order lacks to bring down the raise ``raised`` that ``held`` stands for; empty: it counts."""
    needs = NEEDS_OF_MOVED if order.details.get(MOVED_TO) else held.needs
    return tuple(need for need in needs if not _brings(need, order, raised, held, evidence))


def _brings(need: str, order: Order, raised: str, held: OpenRaise, evidence: Proofs) -> bool:
    if need == MOVED:
        return any((raised, str(trial)) in evidence.moved for trial in order.details.get(MOVED_TO, ()))
    if need == SIGNED:
        return is_name(order.signed)
    if need == REASON:
        return bool(written(order.because))
    if need == CAUSE_FOUND:
        return bool(written(str(order.details.get("cause_found") or "")))
    if need == REPAIR:
        return _repaired(order, raised, evidence)
    sheet = evidence.sheets.get(order.sheet or "")
    return (
        sheet is not None
        and sheet.rig == order.rig
        and sheet.kind == COMMISSIONING
        and sheet.accepted
        and is_name(sheet.signed)
        and raised in sheet.answers
        and (REPAIR not in held.needs or order.service in sheet.services)
    )


def _repaired(order: Order, raised: str, evidence: Proofs) -> bool:
    repair = evidence.services.get(order.service or "")
    return (
        repair is not None
        and repair.rig == order.rig
        and raised in repair.answers
        and is_repair(repair.action, repair.found, repair.fixed)
    )


def status_of(
    rig: str,
    orders: Iterable[Order],
    evidence: Proofs,
    altered: Container[str] = frozenset(),
    named: Iterable[str] = (),
    due: Iterable[Due] = (),
    gone: Mapping[str, str] = MappingProxyType({}),
    no_orders: Container[str] = frozenset(),
) -> Status:
    """Work out the status of ``rig`` from every order in the logbook; their sequence doesn't matter.

    Args:
        rig: the rig's name.
        orders: all orders that the logbook holds; those of other rigs are passed over.
        evidence: the sheets and service entries that it holds.
        altered: ids of orders whose content no longer gives their id. They clear nothing and hold like the worst.
        named: ids of orders that seals, plans and service entries of this rig name; one that isn't there was lost.
        due: the orders that this rig's stored throws and sightings ask for; one that isn't there was taken out.
        gone: other rows of this rig that were taken out of the logbook: id and sentence. Each holds it at ``restricted``.
        no_orders: ids among those that clearing orders name that are of such rows, back again or not.
    """
    mine, due, named = [order for order in orders if order.rig == rig], list(due), list(named)
    if not (mine or due or named or gone):
        return Status(IN_SERVICE, (), ())
    lost = {
        name: one
        for name, one in _raises_by_key(mine, altered, named, evidence.imported).items()
        if name not in no_orders
    }
    rows = {name: OpenRaise((name,), MISSING, RESTRICTED, said) for name, said in gone.items()}
    held = lost | _gone(mine, due) | rows
    group_of = {name: key for key, one in held.items() for name in one.ids}
    cleared, refused = set(), []
    for order in sorted({one.id: one for one in mine if one.clears}.values(), key=lambda one: one.id):
        if order.id in altered:
            continue
        for raised in sorted(set(order.clears) & set(group_of)):
            key = group_of[raised]
            missing = lacks(order, raised, held[key], evidence)
            if missing:
                refused.append(RefusedClearance(order.id, raised, tuple(NEED_SAID[need] for need in missing)))
            else:
                cleared.add(key)
    still = [one for key, one in sorted(held.items()) if key not in cleared]
    still.sort(key=lambda one: -LEVELS.index(one.level))
    return Status(worst(one.level for one in still), tuple(still), tuple(refused))


def _gone(mine: Iterable[Order], due: Iterable[Due]) -> dict[str, OpenRaise]:
    """Orders that are due and aren't there, each under a name made from its throw and cause: the same in every copy."""
    raised = {(order.trial, order.cause) for order in mine}
    found = {}
    for trial, cause in set(due) - raised:
        name = sha256(f"{trial} {cause}".encode()).hexdigest()[:32]
        found[name] = OpenRaise((name,), LOST, DO_NOT_USE, f"{GONE_SENTENCE}: {cause}")
    return found


def _raises_by_key(
    mine: Iterable[Order], altered: Container[str], named_elsewhere: Iterable[str], imported: Container[str]
) -> dict[str, OpenRaise]:
    """Everything that was ever raised, by a key that two copies of a logbook agree on."""
    mine = list(mine)
    nobodys = {
        one.trial
        for one in mine
        if one.cause == REASSIGNED
        and not one.details.get(TO_RIG)
        and one.trial in imported
        and is_name(one.signed)
        and one.id not in altered
    }
    held: dict[str, OpenRaise] = {}
    for order in mine:
        if order.id in altered:
            held[order.id] = OpenRaise((order.id,), ALTERED, DO_NOT_USE, ALTERED_SENTENCE)
        elif not order.clears:
            key = f"{order.trial} {order.cause}" if order.trial else order.id
            before = held.get(key)
            ids = {order.id, *(before.ids if before else ())}
            level = worst((level_of(order), *((before.level,) if before else ())))
            waived = order.trial is not None and order.trial in nobodys and order.cause != REASSIGNED
            sign = str(order.details.get("sign", ""))
            held[key] = OpenRaise(tuple(sorted(ids)), order.cause, level, sentence_of(order), waived, sign)
    named = {name for order in mine for name in (*order.previous, *order.clears)} | set(named_elsewhere)
    for lost in named - {order.id for order in mine}:
        held[lost] = OpenRaise((lost,), LOST, DO_NOT_USE, LOST_SENTENCE)
    return held


class Copies(Protocol):
    """What the latch must know of throws on two rigs."""

    def rig_of_copy(self, trial: str) -> str:
        """The rig that a trial stands on; empty: there is no such trial."""

    def same_samples(self, one: str, other: str) -> bool:
        """Whether two trials are made of the same record."""

    def came_by_import(self, trial: str) -> bool:
        """Whether a trial came in from a file, and stands on no sheet that was ever accepted."""

    def orders(self, rig: str) -> Collection[Order]:
        """Every order of a rig."""


def moved_raises(rig: str, orders: Iterable[Order], copies: Copies) -> Iterator[tuple[str, str]]:
    """Id of each raise of ``rig`` that a clearing order says is another rig's, with the trial there; only where that is so."""
    listed = list(orders)
    raises = {one.id: one for one in listed if not one.clears}
    for order in listed:
        for trial in map(str, order.details.get(MOVED_TO, ())):
            whose = copies.rig_of_copy(trial)
            if whose in ("", rig):
                continue
            there = {(one.trial, one.cause) for one in copies.orders(whose) if not one.clears}
            for raised in (raises[name] for name in order.clears if name in raises):
                if (
                    raised.trial is not None
                    and (trial, raised.cause) in there
                    and copies.same_samples(raised.trial, trial)
                    and copies.came_by_import(raised.trial)
                ):
                    yield raised.id, trial
