"""A rig's status in words, once for command line, screen and report; what happened since its last accepted sheet.

Orders hold all that takes a rig out of use: stalls, pins seen out, signs to watch. Repairs, rejected sheets and failed
throws that nobody answered stand beside them.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from throwbook.core.assessment import FAIL
from throwbook.core.quantities.text import counted, printable
from throwbook.core.records import (
    ACCEPTED,
    OPEN,
    REJECTED,
    LoggedTrial,
    Order,
    SheetState,
)
from throwbook.core.status.latch import (
    DO_NOT_USE,
    IN_SERVICE,
    LEVELS,
    Status,
    level_of,
    sentence_of,
    worst,
)
from throwbook.core.status.maintenance import NO_CHECK, ServiceEntry
from throwbook.core.status.raising import SEEN_CAUSES
from throwbook.core.wording import OUT_OF_USE

NOTHING = "Nothing happened since the last accepted sheet: no order, no repair, no rejected sheet."
NEVER = "No sheet was ever accepted, and nothing else happened."


@dataclass(frozen=True)
class Event:
    """One thing that happened."""

    on: date
    what: str

    @property
    def sentence(self) -> str:
        """As a person reads it: the day first."""
        return printable(f"{self.on}: {self.what}.")


def events_since_acceptance(
    sheets: Sequence[SheetState],
    orders: Iterable[Order],
    services: Iterable[ServiceEntry],
    trials: Mapping[str, LoggedTrial],
    open_orders: Collection[str] = (),
) -> tuple[Event, ...]:
    """Everything since the newest acceptance, oldest first; all there is where no sheet was ever accepted.

    An order that held the rig at that acceptance stays told with its repair: a recommissioning is accepted before the
    order it answers is cleared, and must not hide what it was made for.

    Args:
        sheets: every sheet of the rig.
        orders: every order of the rig.
        services: its maintenance history.
        trials: its throws by id.
        open_orders: ids of the orders that hold it now.
    """
    since = max(
        (one.decision.at for one in sheets if one.state == ACCEPTED and one.decision is not None),
        default=None,
    )
    orders = list(orders)
    held = {*open_orders, *(name for one in orders if since and one.at > since for name in one.clears)}
    found = [
        *_orders(orders, trials, since, held),
        *_services(services, since, held),
        *_sheets(sheets, trials, since),
    ]
    return tuple(sorted(found, key=lambda one: one.on))


def said_since(sheets: Sequence[SheetState], events: Sequence[Event]) -> tuple[str, ...]:
    """The events as sentences; where there are none, that."""
    if events:
        return tuple(one.sentence for one in events)
    return (NOTHING if any(one.state == ACCEPTED for one in sheets) else NEVER,)


def _orders(
    orders: Sequence[Order],
    trials: Mapping[str, LoggedTrial],
    since: datetime | None,
    held: Collection[str],
) -> Iterable[Event]:
    by_id = {one.id: one for one in orders}
    for order in sorted(
        orders, key=lambda one: (one.at, -LEVELS.index(level_of(one)))
    ):  # of one moment the worst first
        if since is not None and order.at <= since and order.id not in held:
            continue
        if order.clears:
            what = _cleared(order, by_id)
            yield Event(order.at.date(), f"{what}cleared and signed by {order.signed}: {order.because}")
            continue
        throw = trials.get(order.trial or "")
        on, where = _day_and_throw(order, throw)
        yield Event(on, f"{level_of(order)}: {sentence_of(order)}{where}")


def _cleared(order: Order, by_id: Mapping[str, Order]) -> str:
    """What an order cleared: the worst level it answered and the causes of that."""
    answered = [by_id[name] for name in order.clears if name in by_id]
    level = worst(level_of(one) for one in answered)
    causes = sorted({one.cause for one in answered if level_of(one) == level})
    return f"{level} ({', '.join(causes)}) " if causes else ""


def _day_and_throw(order: Order, throw: LoggedTrial | None) -> tuple[date, str]:
    """The day of an order and which throw it is of.

    A record tells of the day it was thrown. What a person saw counts from the day it was written down, as the order says:
    a "no" may come long after the throw.
    """
    written = order.at.date()
    if throw is None:
        return written, ""
    thrown = throw.when.date() if throw.when is not None else written
    if order.cause in SEEN_CAUSES.values():
        return written, f" ({throw.direction} throw of {thrown})" if thrown != written else ""
    as_found = throw.placement is not None and throw.placement.as_found
    return thrown, f" (as-found {throw.direction} throw)" if as_found else ""


def _services(
    services: Iterable[ServiceEntry], since: datetime | None, held: Collection[str]
) -> Iterable[Event]:
    for entry in services:
        late = (
            since is not None
            and entry.written is not None
            and entry.on < since.date()
            and entry.written > since
        )
        if since is None or late or entry.on >= since.date() or set(entry.answers) & set(held):
            said = entry.fixed.what.strip()
            done = f": {said}" if said and said.casefold() != entry.action else ""
            entered = f", entered on {entry.written:%Y-%m-%d}" if late else ""
            yield Event(entry.on, f"{entry.action}{done}{entered}")


def _sheets(
    sheets: Iterable[SheetState], trials: Mapping[str, LoggedTrial], since: datetime | None
) -> Iterable[Event]:
    failed: dict[str, int] = {}
    for throw in trials.values():
        judged, placed = throw.judgement, throw.placement
        if placed is not None and judged is not None and judged.assessment.verdict == FAIL:
            failed[placed.sheet] = failed.get(placed.sheet, 0) + 1
    for state in sheets:
        decision, sheet = state.decision, state.sheet
        if state.state == REJECTED and decision is not None and (since is None or decision.at > since):
            yield Event(
                decision.at.date(), f"sheet {state.name} rejected by {decision.signed}: {_why(state)}"
            )
        elif state.state == OPEN and sheet.id in failed:
            count = counted(failed[sheet.id], "failed throw")
            yield Event(
                sheet.at.date(),
                f"sheet {state.name} is still open, with {count}: it still has to be accepted or rejected",
            )


def _why(state: SheetState) -> str:
    decision = state.decision
    assert decision is not None
    return decision.reason or "no reason given"


STYLE = {"in service": "good", "watch": "warn", "restricted": "warn", "do not use": "bad"}
"""Status: one of the styles of ``cli.output``; colour only repeats the word."""
DONE = "done: "
"""A step of the way down that is done begins so."""
NEXT_STEP = {
    "cause found": "find the cause and write it down",
    "moved": "move the throw to the rig that made it: throwbook sheet reassign",
    "repair": "log the repair: throwbook service add",
    "recommissioned": "commission again in full, on a sheet planned after the repair: throwbook sheet plan",
    "signed": "sign the clearance: throwbook order clear",
    "reason": "give a reason and sign the clearance: throwbook order clear",
}


def headline(status: Status, commissioned: bool, next_check: str) -> str:
    """The status in one line."""
    words = status.level.upper() if status.level == DO_NOT_USE else status.level
    new = "" if commissioned else "; not commissioned: no accepted commissioning sheet"
    if not commissioned and status.level == IN_SERVICE:
        words, new = "not commissioned", ": no accepted commissioning sheet"
    due = "" if next_check == NO_CHECK else f"; {next_check}"
    return f"{words}{new}{due}"


def short(status: Status, commissioned: bool) -> str:
    """The status in a cell of a table: a rig that was never commissioned isn't in service."""
    return status.level if commissioned or status.level != IN_SERVICE else "not commissioned"


def reasons(status: Status) -> list[str]:
    """What holds the rig there, worst first: same causes together, each with its first id."""
    grouped: dict[tuple[str, str], list[str]] = {}
    for one in status.open:
        grouped.setdefault((one.level, one.sentence), []).append(one.ids[0][:8])
    held = [f"{level}: {sentence} [{', '.join(ids)}]" for (level, sentence), ids in grouped.items()]
    return held + pending(status)


def pending(status: Status) -> list[str]:
    """What isn't judged yet and holds the rig until it is."""
    return list(dict.fromkeys(f"{one.level}: {one.sentence}" for one in status.pending))


def step_in_words(step: str) -> str:
    """A step that isn't done without the command that does it."""
    return step.partition(": throwbook ")[0]


def judging_first(status: Status) -> list[str]:
    """The steps that judge what isn't judged yet: they come before every other."""
    return list(dict.fromkeys(one.step for one in status.pending))


def refused(status: Status) -> list[str]:
    """Clearing orders that don't count, and why."""
    return [
        f"clearance {one.order[:8]} does not count for order {one.raised[:8]}: {', '.join(one.because)}"
        for one in status.refused
    ]


def caution(status: Status) -> str:
    """What stands beside a rig that is out of use; empty otherwise."""
    return OUT_OF_USE if status.level == DO_NOT_USE else ""
