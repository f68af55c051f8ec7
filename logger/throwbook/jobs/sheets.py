"""Test sheets while they are open: planned, answered, looked at, listed, shown. How one ends stands in ``sign_off.py``."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook.core.listing import ListedSheet, ListedThrow
from throwbook.core.quantities.text import written
from throwbook.core.records import (
    AFTER_SERVICE,
    ANSWERS,
    BENCH,
    BY_BOARD,
    BY_HAND,
    COMMISSIONING,
    NO,
    OPEN,
    SEASONAL,
    SEEN,
    YES,
    LoggedTrial,
    Meter,
    Photograph,
    PinAnswers,
    SheetState,
)
from throwbook.core.rig import LOCK, METRIC
from throwbook.core.sheets.conditions import conditions_from
from throwbook.core.sheets.hand_readings import CLAMP_METER, Accuracy
from throwbook.core.sheets.photographs import answer_for, photographs_at
from throwbook.core.sheets.sheet import (
    Plan,
    SheetTrial,
    as_found,
    lock_throws,
    no_since,
    plan_details,
    plan_for,
    plan_from,
    said_since,
    seen_at,
    sheet_trials,
    withdrawn,
)
from throwbook.core.status.latch import DO_NOT_USE, Status
from throwbook.core.status.maintenance import entry_from
from throwbook.errors import Field, InputError, Remedy, ThrowbookError
from throwbook.jobs import latch
from throwbook.jobs.find import opened, rig_for_sheet, rig_of
from throwbook.jobs.meters import NAMED, instruments_in, meters_on, name_in
from throwbook.logbook import Logbook

if TYPE_CHECKING:
    from throwbook.core.sheets.acceptance import Acceptance
    from throwbook.files.pictures import PhotographFile


@dataclass(frozen=True)
class SheetView:
    """A sheet as it is shown."""

    state: SheetState
    plan: Plan
    trials: tuple[SheetTrial, ...]
    seen: Mapping[str, PinAnswers]
    """By trial."""
    acceptance: "Acceptance"
    status: Status
    withdrawn: tuple[str, ...] = ()
    """A "no" that was corrected: one sentence a throw."""
    said_since: tuple[str, ...] = ()
    """A "no" that came after the sheet was decided: one sentence each."""
    commissioned: bool = False
    """The rig has an accepted commissioning sheet: its trend has begun."""
    rig_changed: bool = False
    """The rig's values changed after throws of this open sheet were judged: it takes judging again."""
    units: str = METRIC
    """How the rig's values are shown."""
    meters: tuple[Meter, ...] = ()
    """That its throws were read with, or that it names."""
    photographs: Mapping[str, Mapping[str, Photograph]] = field(default_factory=dict)
    """By trial and pin: those that count."""

    @property
    def throws(self) -> list[ListedThrow]:
        """Its throws as a list shows them."""
        apart = as_found(conditions_from(self.state.answers), self.trials)
        return [ListedThrow(one, self.seen[one.id], one.id in apart) for one in self.trials]

    @property
    def last_lock_throw(self) -> int:
        """Number of the lock throw that was written down last; ValueError where there is none."""
        return max(one.position for one in self.trials if one.direction == LOCK)


def view(logbook: str | Path | None, sheet: str) -> SheetView:
    """One sheet with its throws, what was seen, and what an acceptance would say."""
    with opened(logbook, read_only=True) as book:
        return view_in(book, book.sheet(sheet))


def view_in(book: Logbook, state: SheetState) -> SheetView:
    """The same in an open logbook."""
    logged = book.trials(sheet=state.sheet.id)
    trials = sheet_trials(logged)
    rig = rig_for_sheet(book, state)
    version = book.rig(state.sheet.rig).id
    sightings, photographs = book.sightings(state.sheet.id), book.photographs(state.sheet.id)
    return SheetView(
        state,
        plan_from(state.sheet.plan),
        trials,
        {one.id: seen_at(one.id, sightings) for one in trials},
        book.judged(state.sheet.id, rig),
        latch.status(book, state.sheet.rig),
        withdrawn(trials, sightings),
        said_since(trials, book.sightings_since(state.sheet.id)),
        commissioned=book.commissioned(state.sheet.rig),
        rig_changed=state.state == OPEN and any(one.rig_version not in ("", version) for one in trials),
        units=rig.units,
        meters=meters_on(book, state, logged),
        photographs={one.id: photographs_at(one.id, photographs) for one in trials},
    )


def listed(logbook: str | Path | None, rig: str | None) -> list[ListedSheet]:
    """Sheets, oldest first, each with its lock and unlock throws."""
    with opened(logbook, read_only=True) as book:
        if rig is not None:
            book.rig(rig)
        found = []
        for sheet in sheets_in(book, rig):
            ways = [one.direction for one in book.trials(sheet=sheet.state.sheet.id)]
            found.append(replace(sheet, locks=ways.count("lock"), unlocks=ways.count("unlock")))
        return found


def sheets_in(book: Logbook, rig: str | None) -> list[ListedSheet]:
    """The same in an open logbook, without the throws."""
    return [ListedSheet(state, no_since(book.sightings_since(state.sheet.id))) for state in book.sheets(rig)]


def plan(
    logbook: str | Path | None,
    rig: str,
    kind: str,
    by: str,
    now: datetime,
    throws: int | None = None,
    answers: Mapping[str, Any] | None = None,
    meters: Sequence[str] = (),
    measured_by: str = "",
    day: str = "",
) -> tuple[SheetState, Plan]:
    """A new open sheet; ``meters``: names of those that its throws by hand will be read from; the rest as in ``Plan``.

    Raises InputError for a day that is still to come.
    """
    if day and date.fromisoformat(day) > now.date():
        raise InputError(IN_THE_FUTURE, Field("day"), "Look at the date and the clock.")
    with opened(logbook) as book, book.transaction():
        state = plan_in(book, rig, kind, by, now, throws, answers, measured_by=measured_by, day=day)
        if meters:
            name_in(book, book.sheet(state.sheet.id), meters, by, now)
        return state, plan_from(state.sheet.plan)


IN_THE_FUTURE = "these throws are dated in the future"


@dataclass(frozen=True)
class BeforePlanning:
    """What a person who plans a sheet has to know."""

    units: str
    repair_first: bool
    """A commissioning sheet planned now would prove nothing of a repair."""
    measured_by: str
    """How the rig's throws were measured last; empty: it has none, and nobody said."""
    meters: tuple[str, ...]
    """Names of the meters that the logbook keeps."""
    used: tuple[str, ...]
    """Those that the rig's newest sheet by hand names."""
    kind: str
    """Kind that comes next: commissioning until one is accepted or while the rig is out of use; after a service that nothing
    was planned behind, the check of it; else seasonal."""


def before_planning(logbook: str | Path | None, rig: str) -> BeforePlanning:
    """Units, whether a repair has to be logged first, and how this rig was measured last."""
    from throwbook.jobs.steps_to_clear import steps_to_clear_in

    with opened(logbook, read_only=True) as book:
        status = latch.status(book, rig)
        return BeforePlanning(
            rig_of(book, rig).units,
            steps_to_clear_in(book, rig, status).repair_first,
            measured_last(book, rig),
            tuple(one.name for one in book.meters()),
            next(
                (tuple(one.answers[NAMED]) for one in reversed(book.sheets(rig)) if one.answers.get(NAMED)),
                (),
            ),
            _next_kind(book, rig, status.level),
        )


def _next_kind(book: Logbook, rig: str, level: str) -> str:
    if not book.commissioned(rig) or level == DO_NOT_USE:
        return COMMISSIONING
    planned = max(one.sheet.at for one in book.sheets(rig))
    worked = any(one.at > planned and entry_from(one).fixed for one in book.services(rig))
    return AFTER_SERVICE if worked else SEASONAL


def measured_last(book: Logbook, rig: str) -> str:
    """``board`` or ``hand``, by the newest sheet that says so or holds a throw; empty: none does."""
    for state in reversed(book.sheets(rig)):
        said = plan_from(state.sheet.plan).measured_by
        trials = book.trials(sheet=state.sheet.id)
        if trials:
            return BY_HAND if trials[-1].trial.hand is not None else BY_BOARD
        if said:
            return said
    return ""


def meter_reach(
    logbook: str | Path | None, sheet: str, clamp: Accuracy | None = None, step_a: float | None = None
) -> tuple[str, ...]:
    """What readings of a clamp meter can be accepted on a sheet, in sentences; on the bench there is nothing to accept.

    What isn't given is as the meters say that the sheet names, else as at the rig's newest throw by hand, else assumed.
    """
    from throwbook.core.sheets.shared_risk import USUAL_STEP_A, reach_said

    with opened(logbook, read_only=True) as book:
        state = book.sheet(sheet)
        if state.sheet.kind == BENCH:
            return ()
        described, tools = rig_of(book, state.sheet.rig), instruments_in(book, state)
        clamp, step_a = clamp or (None if tools.clamp.assumed else tools.clamp), step_a or tools.step_a
        by_hand = [one.trial.hand for one in book.trials(rig=state.sheet.rig) if one.trial.hand]
    newest = by_hand[-1] if by_hand else {}
    used = newest.get("instruments", {}).get("clamp")
    read = newest.get("run_current_a") or {}
    clamp = clamp or (Accuracy(**used) if used else CLAMP_METER)
    return reach_said(described, clamp, step_a or read.get("step") or USUAL_STEP_A)


def plan_in(
    book: Logbook,
    rig: str,
    kind: str,
    by: str,
    now: datetime,
    throws: int | None = None,
    answers: Mapping[str, Any] | None = None,
    imported: bool = False,
    measured_by: str = "",
    day: str = "",
    thrown: Iterable[datetime | None] = (),
) -> SheetState:
    """The same in an open logbook, for jobs that fill the sheet in one go.

    The plan names the orders that hold the rig and the service entries logged so far: that is what makes a commissioning
    sheet count as one after the repair. Orders of after its ``day``, else of after the last of the throws that it is planned
    for (``thrown``), it isn't to clear: old papers are typed in whatever happened since.
    """
    described = rig_of(book, rig)
    if described.retired:
        raise InputError(
            f"this rig is retired ({described.retired})",
            rig,
            remedy=Remedy.BRING_BACK,
        )
    services = tuple(sorted(row.id for row in book.services(rig, every_revision=True)))
    starts = list(thrown)
    days = [date.fromisoformat(day)] if day else [one.date() for one in starts if one is not None]
    open_orders = latch.status(book, rig).open_ids
    if days and None not in starts:
        open_orders = _until(book, rig, open_orders, max(days) + CLOCKS_DIFFER)
    made = plan_for(kind, described, throws, open_orders, services, _answered_at(book, rig, open_orders))
    made = replace(made, imported=imported, measured_by=measured_by, day=day)
    sheet = book.plan_sheet(rig, kind, plan_details(made), by, now)
    if answers:
        book.answer(sheet.id, dict(answers), by, now)
    return book.sheet(sheet.id)


CLOCKS_DIFFER = timedelta(days=1)
"""A day in one time zone may still be the day before in another."""


def _until(book: Logbook, rig: str, held: Sequence[str], day: date) -> tuple[str, ...]:
    """Those of the orders that aren't known to be of a later day."""
    raised = _raised_at(book, rig, held)
    return tuple(name for name in held if (moment := raised.get(name)) is None or moment.date() <= day)


def _raised_at(book: Logbook, rig: str, held: Sequence[str]) -> dict[str, datetime | None]:
    """When the throw of each order was made, or the order itself where it is of no throw; None: that has no date."""
    started = {one.id: one.trial.started for one in book.trials(rig=rig)} if held else {}
    return {
        order.id: started.get(order.trial) if order.trial else order.at
        for order in book.orders(rig)
        if order.id in set(held)
    }


def _answered_at(book: Logbook, rig: str, held: Sequence[str]) -> str:
    """When the newest of what a sheet answers happened: the throws that raised it, the day of the work on it.

    By the clocks of that time, so it can only refuse throws, never let anything pass (the ids do that). What a person
    raised counts from when it was written down; a throw without a date not at all.
    """
    moments = list(_raised_at(book, rig, held).values())
    for row in book.services(rig):
        entry = entry_from(row)
        if set(entry.answers) & set(held):
            moments.append(datetime.combine(entry.on, time(0), row.at.tzinfo))
    known = [moment for moment in moments if moment is not None]
    return max(known).isoformat() if known else ""


def answer(
    logbook: str | Path | None,
    sheet: str,
    answers: Mapping[str, Any],
    by: str,
    now: datetime,
    reason: str = "",
) -> SheetState:
    """Answer questions of an open sheet; those not given stay as they were."""
    with opened(logbook) as book, book.transaction():
        state = open_sheet(book, sheet)
        book.answer(state.sheet.id, {**state.answers, **answers}, by, now, reason)
        return book.sheet(state.sheet.id)


def see(
    logbook: str | Path | None,
    sheet: str,
    throws: Sequence[int],
    pins: PinAnswers,
    by: str,
    now: datetime,
    reason: str = "",
    photographs: Mapping[str, Path] | None = None,
    time_known: bool = False,
) -> tuple[SheetView, int]:
    """Write down what was seen at throws of a sheet. A "no" takes the rig out of use at once, whenever it comes: it is
    taken on a decided sheet too, beside what was sealed; any other answer takes an open one.

    ``reason``: why it corrects an earlier answer; empty: it doesn't. Gives the sheet and how many orders that raised.
    ``photographs``: pin (``left``, ``right``) and file, of one throw; ``time_known``: a person confirmed that they are the
    right ones, whatever their dates. A photograph that is refused refuses the answers too, but for a "no": that is kept.
    """
    from throwbook.jobs.photographs import read_all

    refuse_blank(pins)
    alone = pins.says_no and bool(photographs)
    pictures = {} if alone else read_all(photographs or {})
    with opened(logbook) as book, book.transaction():
        state = book.sheet(sheet) if pins.says_no else open_sheet(book, sheet)
        trials = [_lock_throw(book, state, number).id for number in throws]
        raised = write_down(book, state, trials, pins, by, now, reason)
        if pictures:
            _put(book, state, throws, pictures, by, now, time_known)
        found = view_in(book, state)
    if alone:
        try:
            pictures = read_all(photographs or {})
            with opened(logbook) as book, book.transaction():
                _put(book, state, throws, pictures, by, now, time_known, with_its_no=True)
                found = view_in(book, state)
        except ThrowbookError as error:
            error.do = f"{error.do} The NO is recorded, without a photograph.".strip()
            raise
    return found, raised


def photograph(
    logbook: str | Path | None,
    sheet: str,
    throws: Sequence[int],
    photographs: Mapping[str, Path],
    by: str,
    now: datetime,
    time_known: bool = False,
) -> SheetView:
    """Photographs (pin and file) of one throw, for answers that were given before, on an open sheet.

    A pin that was answered "no" takes its own at any time.
    """
    from throwbook.jobs.photographs import read_all

    pictures = read_all(photographs)
    with opened(logbook) as book, book.transaction():
        state = book.sheet(sheet)
        _put(book, state, throws, pictures, by, now, time_known)
        return view_in(book, state)


def _put(
    book: Logbook,
    state: SheetState,
    throws: Sequence[int],
    pictures: "Mapping[str, PhotographFile]",
    by: str,
    now: datetime,
    time_known: bool,
    with_its_no: bool = False,
) -> None:
    """Photographs to the answers of one throw, in the transaction that is open.

    ``with_its_no``: they came with a "no", so both pins' stand beside what was sealed.
    """
    from throwbook.jobs.photographs import keep_photographs, refuse_photographs

    if len(throws) != 1:
        raise InputError("a photograph belongs to one throw", Field("throw"), "Give that throw by itself.")
    logged = _lock_throw(book, state, throws[0])
    seen = seen_at(logged.id, book.sightings(state.sheet.id))
    if not with_its_no and not all(answer_for(pin, seen) == NO for pin in pictures):
        open_sheet(book, state.name)
    refuse_photographs(throws[0], logged.when, seen, pictures, time_known)
    keep_photographs(book, logged, pictures, by, now)


def _lock_throw(book: Logbook, state: SheetState, number: int) -> LoggedTrial:
    logged = {one.id: one for one in book.trials(sheet=state.sheet.id)}
    positions = {one.position: logged[one.id] for one in lock_throws(sheet_trials(logged.values()))}
    if number not in positions:
        listed = ", ".join(map(str, positions)) or "none yet"
        raise InputError(
            f"throw {number} is not a lock throw of this sheet", state.name, f"Its lock throws: {listed}."
        )
    return positions[number]


def write_down(
    book: Logbook,
    state: SheetState,
    trials: Sequence[str],
    pins: PinAnswers,
    by: str,
    now: datetime,
    reason: str = "",
) -> int:
    """Keep what was seen at these trials; gives how many orders it raised.

    A "no" at a throw whose first one was cleared long ago is a new finding: it raises an order of its own.
    """
    logged = {one.id: one for one in book.trials(sheet=state.sheet.id)}
    raised = 0
    for trial in trials:
        book.sight(trial, pins, by, now, reason)
        raised += len(latch.raise_for(book, state, logged[trial], by, now))
        raised += len(latch.raise_seen(book, state, pins, by, now, logged[trial]))
    return raised


def leave_out(
    logbook: str | Path | None, sheet: str, throw: int, because: str, by: str, now: datetime
) -> SheetView:
    """Take a throw of an open sheet out of the count, with a reason; it stays on the sheet, and so does what it raised."""
    if not written(because):
        raise InputError("no reason given", Field("because"), "Say why it doesn't count.")
    with opened(logbook) as book, book.transaction():
        state = open_sheet(book, sheet)
        fit = [
            one.placement
            for one in book.trials(sheet=state.sheet.id)
            if one.placement is not None and one.placement.position == throw
        ]
        if not fit:
            raise InputError(f"this sheet has no throw {throw}", sheet, remedy=Remedy.SHOW_SHEET)
        book.leave_out(fit[0], written(because), by, now, written(because))
        return view_in(book, state)


def open_sheet(book: Logbook, sheet: str, rig: str = "") -> SheetState:
    """The sheet of that name. Raises InputError where it is decided already, or is of another rig than the one named."""
    state = book.sheet(sheet)
    if rig and state.sheet.rig != rig:
        raise InputError(f"this sheet belongs to {state.sheet.rig}", sheet, f"Name a sheet of {rig}.")
    if state.state != OPEN:
        raise InputError(
            f"this sheet is {state.state} already",
            sheet,
            "A decision cannot be changed. Plan a new sheet.",
            Remedy.SAY_NO,
        )
    return state


def refuse_blank(pins: PinAnswers) -> None:
    """Raise InputError for an answer that is none, and for pins seen without a word on how."""
    for name in SEEN:
        if getattr(pins, name) not in ANSWERS:
            raise InputError(f"{getattr(pins, name)!r} is no answer", name, f"One of: {', '.join(ANSWERS)}.")
    if YES in (pins.left_pin, pins.right_pin) and not pins.says_no and not written(pins.how):
        raise InputError(
            "it is not recorded how the pins were seen", Field("seen-how"), "For example: lamp, both sides."
        )
