"""Throws measured by hand, into the logbook: one or a whole paper sheet at once, all or nothing; judged while they are typed."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook import __version__
from throwbook.core.assessment import CUT_OFF
from throwbook.core.records import BENCH, NOT_LOOKED, OPEN, SPOT, LoggedTrial, PinAnswers, SheetState
from throwbook.core.rig import LOCK
from throwbook.core.sheets.conditions import conditions_from
from throwbook.core.sheets.hand_readings import (
    Accuracy,
    HandThrow,
    Instruments,
    implausible_reading,
    in_air,
    instruments_kept,
)
from throwbook.core.sheets.sheet import plan_from, rested, sheet_trials
from throwbook.core.status.latch import DO_NOT_USE, Status
from throwbook.errors import Field, InputError, Remedy
from throwbook.files.tables import refuse_no_file
from throwbook.jobs import latch
from throwbook.jobs.find import baseline_for, frozen_id, opened, rig_of
from throwbook.jobs.meters import instruments_in, name_in
from throwbook.jobs.sheets import IN_THE_FUTURE, open_sheet, plan_in, refuse_blank, write_down
from throwbook.logbook import Logbook, hand_trial

if TYPE_CHECKING:
    from throwbook.core.assessment import Assessment
    from throwbook.core.rig import Rig
    from throwbook.jobs.find import BaselineInForce


LONGEST_FILE = 1_000_000
"""Bytes; a paper sheet has a few hundred."""


class ImplausibleReadingError(InputError):
    """A reading that can't be meant; nothing was written. Whoever read the meter may say that it did show it."""


@dataclass(frozen=True)
class HandEntry:
    """What goes onto which sheet."""

    throws: Sequence[HandThrow]
    kind: str
    """Kind of the new sheet; not looked at when ``sheet`` is given."""
    sheet: str = ""
    """An open sheet to add to; empty: a new one is planned."""
    answers: Mapping[str, Any] | None = None
    seen_how: str = ""
    instruments: Instruments | None = None
    thrown_at: datetime | None = None
    """When the throws were made; None: not recorded."""
    as_read: bool = True
    """False: a reading that can't be meant (86 s for 8.6 s) is refused before it is written."""
    again: bool = False
    """These are new throws although the logbook has a sheet with just these readings."""
    meters: Sequence[str] = ()
    """Names of the meters they were read from, in place of those that the sheet names; empty: those."""
    by_entry: bool = False
    """``thrown_at`` is the moment of writing down. Where that is faster than the actuator, it isn't the throw's time."""


@dataclass(frozen=True)
class Entered:
    """What was written down."""

    state: SheetState
    trials: tuple[LoggedTrial, ...]
    assessments: "tuple[Assessment, ...]"
    status: Status
    took_out: bool = False
    """One of these throws took the rig out of use."""
    at_once: bool = False
    """Entered faster than it can have been thrown: kept with the time of the throw before, the order alone is known."""


def sheet_text(file: Path) -> str:
    """Text of a file with lines to enter. Raises InputError: not there, not text, far too long."""
    try:
        refuse_no_file(file)
        if file.stat().st_size > LONGEST_FILE:
            raise InputError(
                "far too long for a paper sheet", str(file), "Give the file with one line a throw."
            )
        return file.read_text("utf-8-sig")
    except (FileNotFoundError, IsADirectoryError) as error:
        raise InputError(
            "there is no such file", str(file), "Give the file with one line a throw."
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(
            "this is not text", str(file), "Give plain text (UTF-8), one line a throw."
        ) from error


def enter(logbook: str | Path | None, rig: str, entry: HandEntry, by: str, now: datetime) -> Entered:
    """Judge every throw and write it down; what they raise takes the rig up at once.

    Raises InputError for a sheet that isn't open or is another rig's, a sighting without how it was seen, or a throw
    dated in the future, ImplausibleReadingError for a slip of the point (unless ``as_read``), or two throws or more whose readings stand in the
    logbook already; nothing is stored then.
    """
    if entry.thrown_at is not None and entry.thrown_at > now:
        raise InputError(IN_THE_FUTURE, Field("at"), "Look at the date and the clock.")
    for number, throw in enumerate(entry.throws, start=1):
        if _readings(throw).keys() <= {"direction", "ended", "note"} and throw.ended == CUT_OFF:
            raise InputError(
                "nothing was measured or seen",
                f"throw {number}",
                "Give at least a time, a current or a sighting.",
            )
    with opened(logbook) as book:
        with book.transaction():
            refused = _said_no_too_late(book, rig, entry, by, now)
            if refused is None:
                return _written(book, rig, entry, by, now)
        raise refused


def _said_no_too_late(book: Logbook, rig: str, entry: HandEntry, by: str, now: datetime) -> InputError | None:
    """A throw can't go on a decided sheet; a "no" that was seen at it takes the rig out of use all the same."""
    no = [pins for throw in entry.throws if (pins := _pins(throw, entry)).says_no]
    state = book.sheet(entry.sheet) if entry.sheet and no else None
    if state is None or state.state == OPEN or state.sheet.rig != rig:
        return None
    for pins in no:
        latch.raise_seen(book, state, pins, by, now)
    return InputError(
        f"this sheet is {state.state} already",
        entry.sheet,
        f"Enter these throws on a new sheet. The NO is recorded: the rig is at '{latch.status(book, rig).level}'.",
    )


def _pins(throw: HandThrow, entry: HandEntry) -> PinAnswers:
    return PinAnswers(
        throw.left_pin, throw.right_pin, entry.seen_how, throw.load_check, throw.retained_power_off
    )


def _written(book: Logbook, rig: str, entry: HandEntry, by: str, now: datetime) -> Entered:
    """Every throw judged and on its sheet, in the transaction that is open."""
    described = rig_of(book, rig)
    if not entry.again:
        _refuse_typed_twice(book, rig, entry)
    state = _sheet(book, rig, entry, by, now)
    if entry.meters:
        name_in(book, state, entry.meters, by, now)
        state = book.sheet(state.sheet.id)
    entry = replace(entry, instruments=instruments_in(book, state, entry.instruments))
    at_once = _typed_at_once(book, state, entry)
    if at_once is not None:
        entry = replace(entry, thrown_at=at_once)
    kind = state.sheet.kind
    baselines = {throw.direction: baseline_for(book, rig, throw.direction, kind) for throw in entry.throws}
    logged, judged = [], []
    for number, throw in enumerate(entry.throws, start=1):
        _refuse_peak(throw, number, entry.instruments or Instruments())
        if not entry.as_read:
            _refuse_implausible(state, described, throw, number, baselines[throw.direction])
        trial, assessment = _one(book, state, described, throw, entry, baselines[throw.direction], by, now)
        logged.append(trial)
        judged.append(assessment)
    new = {trial.id for trial in logged}
    took_out = any(one.trial in new and one.level == DO_NOT_USE for one in book.orders(rig))
    status = latch.status(book, rig)
    return Entered(
        book.sheet(state.sheet.id), tuple(logged), tuple(judged), status, took_out, at_once is not None
    )


def _typed_at_once(book: Logbook, state: SheetState, entry: HandEntry) -> datetime | None:
    """The time of the throw before, where this one is entered before it can have ended; None: it may have been thrown now."""
    if not entry.by_entry or entry.thrown_at is None:
        return None
    started = [one.trial.started for one in book.trials(sheet=state.sheet.id)]
    before = max((at for at in started if at is not None and at < entry.thrown_at), default=None)
    each_s = max((one.time_s.value for one in entry.throws if one.time_s is not None), default=0.0)
    ran_s = each_s * started.count(before)  # those typed in since share that time, and ran since
    too_soon = before is not None and (entry.thrown_at - before).total_seconds() < ran_s
    return before if too_soon else None


def _sheet(book: Logbook, rig: str, entry: HandEntry, by: str, now: datetime) -> SheetState:
    """The sheet to write on: the one that is named, or a new one."""
    if not entry.sheet:
        planned = plan_in(book, rig, entry.kind, by, now, answers=entry.answers, thrown=[entry.thrown_at])
        return book.sheet(planned.sheet.id)
    state = open_sheet(book, entry.sheet, rig)
    if entry.answers:
        book.answer(state.sheet.id, {**state.answers, **entry.answers}, by, now)
    return book.sheet(state.sheet.id)


def _refuse_typed_twice(book: Logbook, rig: str, entry: HandEntry) -> None:
    """Two throws never read the same in every digit, one after the other: then a paper sheet was typed in twice."""
    typed = [_readings(throw) for throw in entry.throws]
    if len(typed) < 2:
        return
    by_sheet: dict[str, list[dict[str, Any]]] = {}
    for one in book.trials(rig=rig):
        if one.trial.hand is not None and one.placement is not None:
            by_sheet.setdefault(one.placement.sheet, []).append(dict(one.trial.hand))
    for sheet, known in by_sheet.items():
        if all(any(reading.items() <= one.items() for one in known) for reading in typed):
            raise InputError(
                f"these {len(typed)} throws are already on sheet {book.sheet(sheet).name}",
                "enter",
                remedy=Remedy.ENTER_AGAIN,
            )


def _refuse_implausible(
    state: SheetState, rig: "Rig", throw: HandThrow, number: int, in_force: "BaselineInForce | None"
) -> None:
    """Stop at a reading that can't be meant."""
    from throwbook.core.sheets.assess_hand import assess_by_hand

    air_c = conditions_from(state.answers).ambient_c
    judged = assess_by_hand(in_air(throw, air_c), rig, baseline=in_force.baseline if in_force else None)
    complaint = implausible_reading(throw, judged, rig)
    if complaint:
        raise ImplausibleReadingError(
            complaint,
            f"throw {number}",
            "Nothing was recorded. Correct the reading.",
            Remedy.AS_READ,
        )


def _refuse_peak(throw: HandThrow, number: int, tools: Instruments) -> None:
    """A meter that keeps no peak shows none."""
    if throw.peak_current_a is not None and tools.no_peak_by:
        raise InputError(
            f"meter '{tools.no_peak_by}' holds no peak, so this reading cannot come from it",
            f"throw {number}",
            "Leave the peak out: it is then listed under Not proved.",
        )


def _readings(throw: HandThrow) -> dict[str, Any]:
    """What was read, blanks left out."""
    return {name: value for name, value in asdict(throw).items() if value not in (None, "", NOT_LOOKED)}


def day_of(state: SheetState, now: datetime) -> datetime | None:
    """Day of a sheet that is typed in from paper, in this computer's time; None: it has none."""
    day = plan_from(state.sheet.plan).day
    return datetime.fromisoformat(day).replace(tzinfo=now.tzinfo) if day else None


def _one(
    book: Logbook,
    state: SheetState,
    rig: "Rig",
    throw: HandThrow,
    entry: HandEntry,
    in_force: "BaselineInForce | None",
    by: str,
    now: datetime,
) -> "tuple[LoggedTrial, Assessment]":
    """One throw judged and written down, with what was seen and the orders it gives rise to."""
    from throwbook.core.sheets.assess_hand import assess_by_hand

    judged = in_air(throw, conditions_from(state.answers).ambient_c)
    assessment = assess_by_hand(judged, rig, entry.instruments, in_force.baseline if in_force else None)
    tools = {"instruments": instruments_kept(entry.instruments or Instruments())}
    thrown_at = entry.thrown_at or day_of(state, now)
    trial = hand_trial(state.sheet.rig, throw.direction, thrown_at, {**_readings(throw), **tools})
    first = not sheet_trials(book.trials(sheet=state.sheet.id))
    logged = book.add_trial(
        state.sheet.id,
        trial,
        assessment,
        by,
        now,
        software_version=__version__,
        as_found=first and rested(conditions_from(state.answers)),
        baseline=frozen_id(in_force),
        ambient_c=assessment.ambient_c,
    )
    pins = _pins(throw, entry)
    if throw.direction == LOCK and pins.at_anything:
        refuse_blank(pins)
        write_down(book, state, [logged.id], pins, by, now)
    else:
        latch.raise_for(book, state, logged, by, now)
    return logged, assessment


def preview(
    logbook: str | Path | None, rig: str, sheet: str, throw: HandThrow, instruments: Instruments
) -> "Assessment":
    """Judge ``throw`` as ``enter`` would on this sheet."""
    return last_look(logbook, rig, sheet, throw, instruments).judged


@dataclass(frozen=True)
class LastLook:
    """A throw by hand as it is about to be written down."""

    judged: "Assessment"
    slip: str
    """What of the readings can't be meant; empty: nothing."""
    missing: str
    """The reading without which the sheet can't be accepted; empty: none."""


def last_look(
    logbook: str | Path | None, rig: str, sheet: str, throw: HandThrow, instruments: Instruments
) -> LastLook:
    """The same, and what a person is asked about before it is written down."""
    from throwbook.core.sheets.assess_hand import assess_by_hand

    with opened(logbook, read_only=True) as book:
        state = book.sheet(sheet)
        in_force = baseline_for(book, rig, throw.direction, state.sheet.kind)
        throw = in_air(throw, conditions_from(state.answers).ambient_c)
        described = rig_of(book, rig)
        instruments = instruments_in(book, state, instruments)
        judged = assess_by_hand(throw, described, instruments, in_force.baseline if in_force else None)
    from throwbook.core.sheets.acceptance_rules import NO_RUN_CURRENT

    to_be_signed = state.sheet.kind not in (BENCH, SPOT)
    missing = judged.usable and judged.figures.run_current_a is None and to_be_signed
    return LastLook(judged, implausible_reading(throw, judged, described), NO_RUN_CURRENT if missing else "")


def clamp_meter_used(logbook: str | Path | None, sheet: str) -> str:
    """Accuracy of the clamp meter as it was given with the sheet's newest throw by hand; empty: it wasn't."""
    with opened(logbook, read_only=True) as book:
        throws = [one.trial.hand for one in book.trials(sheet=book.sheet(sheet).sheet.id) if one.trial.hand]
    if not throws or "clamp" not in throws[-1].get("instruments", {}):
        return ""
    clamp = Accuracy(**throws[-1]["instruments"]["clamp"])
    return "" if clamp.assumed else clamp.text
