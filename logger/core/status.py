"""The status of a rig: a latch that goes up at once and comes down only by a signed entry.

    in service  ->  watch  ->  restricted  ->  do not use

The status is worked out from a *set* of orders, never from a stored field and never from the order of clocks:

* A **raise** names its cause; the cause's level stands in ``CAUSES``. It stays open until a clearing order names it.
* A **clear** counts for exactly the raises it names, and only with everything that ``WAY_DOWN`` asks for that level.
* An order's id is the hash of its content. So the same order met twice (import, merge, a restored copy) is one, and
  nobody could have named an order before it was written: that, not a clock, proves that the repair and the
  recommissioning came after the stall.
* An order names the orders its writer could see (``follows``). One that is named but isn't there was lost: until it is
  merged back, or answered like the worst, the rig is at ``do not use``.

A raise found in a trial has no author and no time in it, so two logbooks that hold the same trial hold the same order.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields

from logger.core.seal import content_id

IN_SERVICE = "in service"
WATCH = "watch"
RESTRICTED = "restricted"
DO_NOT_USE = "do not use"
LEVELS = (IN_SERVICE, WATCH, RESTRICTED, DO_NOT_USE)

RAISE = "raise"
CLEAR = "clear"

# cause: (level, the sentence a person reads). Source: method.md 5 is the first block; the rest is common practice.
CAUSES: dict[str, tuple[str, str]] = {
    "pin not seen": (DO_NOT_USE, "a lock pin was not seen in its hole"),
    "stall": (DO_NOT_USE, "the motor stood still under voltage"),
    "stopped short": (DO_NOT_USE, "a lock throw ended before its travel was done"),
    "light run": (DO_NOT_USE, "near no-load current all the way: the drive may be off the mechanism"),
    "let go": (DO_NOT_USE, "the pins did not stay put with the power off"),
    "load check failed": (DO_NOT_USE, "the maker's load check was not passed"),
    "damage": (DO_NOT_USE, "damage was seen"),
    "end stop": (RESTRICTED, "it ran into its end stop: the limit switch did not cut off"),
    "unlock stopped short": (RESTRICTED, "an unlock throw ended before its travel was done"),
    "no start": (RESTRICTED, "no current when there should be some"),
    "failed limit": (RESTRICTED, "a trial failed a limit"),
    "watch sign": (WATCH, "a trial showed something to watch"),
    "person: watch": (WATCH, "a person set it to watch"),
    "person: restricted": (RESTRICTED, "a person restricted it"),
    "person: do not use": (DO_NOT_USE, "a person took it out of use"),
}
LOST = "lost order"
LOST_SENTENCE = "an order that a later one names is missing from this logbook"
ALTERED = "altered order"
ALTERED_SENTENCE = "an order was changed after it was written"

SIGNED = "signed"
REASON = "reason"
CAUSE_FOUND = "cause found"
REPAIR = "repair"
RECOMMISSIONED = "recommissioned"

# level: what a clearing order must bring, for each raise it names.
WAY_DOWN: dict[str, tuple[str, ...]] = {
    WATCH: (REASON, SIGNED),
    RESTRICTED: (REASON, SIGNED),
    DO_NOT_USE: (CAUSE_FOUND, REPAIR, RECOMMISSIONED, SIGNED),
}
# need: how it is said when it lacks.
NEED_SAID: dict[str, str] = {
    REASON: "no reason given",
    SIGNED: "not signed",
    CAUSE_FOUND: "no cause found is written down",
    REPAIR: "no repair is logged that answers it (found and fixed, both written)",
    RECOMMISSIONED: "no accepted commissioning sheet that was planned after it and after its repair",
}


@dataclass(frozen=True)
class Order:
    """One entry in the rig's status history. Append only."""

    rig: str
    action: str
    """``raise`` or ``clear``"""
    cause: str = ""
    """Raise: a key of ``CAUSES`` (one this version doesn't know counts as the worst)."""
    source: str = ""
    """Raise: id of the trial, sheet or service entry it comes from; a random token when a person raises it."""
    detail: str = ""
    """What was seen, in a sentence."""
    answers: tuple[str, ...] = ()
    """Clear: ids of the raises it clears, and no others."""
    cause_found: str = ""
    service: str = ""
    """Clear: id of the service entry with the repair."""
    sheet: str = ""
    """Clear: id of the accepted commissioning sheet."""
    reason: str = ""
    signed: str = ""
    by: str = ""
    written_at: str = ""
    """For the reader only: no rule looks at it."""
    follows: tuple[str, ...] = ()
    """Ids of the latest orders its writer could see."""
    id: str = field(default="", compare=False)
    """Set by ``sealed``: hash of all the rest."""

    @property
    def level(self) -> str:
        """The level a raise asks for; a cause from a newer program counts as the worst."""
        return CAUSES.get(self.cause, (DO_NOT_USE, ""))[0]

    @property
    def sentence(self) -> str:
        """Its cause and detail as a person reads them."""
        said = CAUSES.get(self.cause, ("", self.cause))[1]
        return f"{said} ({self.detail})" if self.detail else said


def order_id(order: Order) -> str:
    """Hash of everything the order says except its own id."""
    return content_id({f.name: getattr(order, f.name) for f in fields(order) if f.name != "id"})


def sealed(order: Order) -> Order:
    """The same order with its id set."""
    said = {f.name: getattr(order, f.name) for f in fields(order) if f.name != "id"}
    return Order(**said, id=order_id(order))


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


@dataclass(frozen=True)
class Evidence:
    """The sheets and service entries that this logbook holds."""

    sheets: Mapping[str, SheetProof] = field(default_factory=dict)
    services: Mapping[str, RepairProof] = field(default_factory=dict)


@dataclass(frozen=True)
class OpenRaise:
    """A raise that holds the rig where it is."""

    id: str
    cause: str
    level: str
    sentence: str
    needs: tuple[str, ...]
    """What a clearing order must bring: keys of ``NEED_SAID``."""


@dataclass(frozen=True)
class Refused:
    """A clearing order that doesn't count, and why."""

    id: str
    raise_id: str
    because: tuple[str, ...]


@dataclass(frozen=True)
class Status:
    """Where the rig stands and what holds it there."""

    level: str
    open: tuple[OpenRaise, ...]
    refused: tuple[Refused, ...]
    lost: tuple[str, ...]
    """Ids of orders that are named but not there."""


def worst(levels: Iterable[str]) -> str:
    """The highest of the levels; none: ``in service``."""
    return max(levels, key=LEVELS.index, default=IN_SERVICE)


def heads(orders: Iterable[Order]) -> tuple[str, ...]:
    """What a new order must name in ``follows``: every order that no other one follows yet."""
    orders = list(orders)
    named = {name for order in orders for name in order.follows}
    return tuple(sorted({order.id for order in orders} - named))


def lacks(order: Order, raise_id: str, level: str, evidence: Evidence) -> tuple[str, ...]:
    """What a clearing order lacks to bring down the raise ``raise_id`` of ``level``; empty: it counts."""
    return tuple(need for need in WAY_DOWN[level] if not _brings(need, order, raise_id, evidence))


def _brings(need: str, order: Order, raise_id: str, evidence: Evidence) -> bool:
    if need == SIGNED:
        return bool(order.signed.strip())
    if need == REASON:
        return bool(order.reason.strip() or order.cause_found.strip())
    if need == CAUSE_FOUND:
        return bool(order.cause_found.strip())
    repair = evidence.services.get(order.service)
    repaired = (
        repair is not None
        and repair.rig == order.rig
        and raise_id in repair.answers
        and bool(repair.found.strip())
        and bool(repair.fixed.strip())
    )
    if need == REPAIR:
        return repaired
    sheet = evidence.sheets.get(order.sheet)
    return (
        sheet is not None
        and sheet.rig == order.rig
        and sheet.kind == "commissioning"
        and sheet.accepted
        and bool(sheet.signed.strip())
        and raise_id in sheet.answers
        and order.service in sheet.services
    )


def status_of(rig: str, orders: Iterable[Order], evidence: Evidence) -> Status:
    """Work out the status of ``rig`` from every order in the logbook. Their sequence doesn't matter.

    An order whose id doesn't match its content was changed after it was written: it clears nothing, and holds the rig
    like the worst.
    """
    mine = [order for order in orders if order.rig == rig]
    altered = {order.id for order in mine if order_id(order) != order.id}
    sound = [order for order in mine if order.id not in altered]
    named = {name for order in sound for name in (*order.follows, *order.answers)}
    lost = sorted(named - {order.id for order in mine})
    held = {
        order.id: _held(order.id, order.cause, order.level, order.sentence)
        for order in sound
        if order.action != CLEAR
    }
    held |= {key: _held(key, ALTERED, DO_NOT_USE, ALTERED_SENTENCE) for key in altered}
    held |= {key: _held(key, LOST, DO_NOT_USE, LOST_SENTENCE) for key in lost}

    cleared, refused = set(), []
    for order in sorted(
        {one.id: one for one in sound if one.action == CLEAR}.values(), key=lambda one: one.id
    ):
        for raise_id in sorted(set(order.answers) & set(held)):
            missing = lacks(order, raise_id, held[raise_id].level, evidence)
            if missing:
                refused.append(Refused(order.id, raise_id, tuple(NEED_SAID[need] for need in missing)))
            else:
                cleared.add(raise_id)
    still = [one for key, one in sorted(held.items()) if key not in cleared]
    still.sort(key=lambda one: -LEVELS.index(one.level))
    return Status(worst(one.level for one in still), tuple(still), tuple(refused), tuple(lost))


def _held(key: str, cause: str, level: str, sentence: str) -> OpenRaise:
    return OpenRaise(key, cause, level, sentence, WAY_DOWN[level])
