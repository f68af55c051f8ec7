"""A stored trial in depth, and judged again: a sheet by what counts now, or after an upgrade what an earlier method judged.

After an upgrade it only ever tightens: what was raised stays raised, and of two judgements on the same grounds the worse
counts. Each throw is judged on the grounds it was judged on before: its version of the rig, its baseline. A record that a
merge brought to stand on two rigs was never made by one of them, so an order stands on both.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook import __version__
from throwbook.core.analysis.calibration import GAIN_U_KEY, CalibrationRecord, CurrentCalibration
from throwbook.core.assessment import INFO, METHOD_VERSION
from throwbook.core.quantities.text import written
from throwbook.core.records import (
    ACCEPTED,
    BENCH,
    BY_HAND,
    FROM_TRACE,
    BaselineRecord,
    LoggedTrial,
    Order,
    RigRevision,
    SheetState,
    current,
    heads,
)
from throwbook.core.sheets.conditions import conditions_from
from throwbook.core.status.latch import Status, raise_order
from throwbook.errors import Field, InputError, ThrowbookError
from throwbook.jobs import latch
from throwbook.jobs.find import (
    BaselineInForce,
    baseline_for,
    baselines_for,
    baselines_of,
    frozen_id,
    opened,
    rig_for_sheet,
    rig_from,
    rig_of,
)
from throwbook.logbook import Logbook

if TYPE_CHECKING:
    from throwbook.core.analysis.baseline import Baseline
    from throwbook.core.assessment import Assessment, Profile
    from throwbook.core.diagnosis.assess import Baselines
    from throwbook.core.rig import Rig
    from throwbook.core.sheets.hand_readings import HandThrow, Instruments
    from throwbook.core.trace import Trace


LEAST_USUAL_A = 0.1
"""A record of hardly any current: its uncertainty is that at this current."""


def judge_stored(
    book: Logbook,
    logged: LoggedTrial,
    rig: "Rig",
    baselines: "Baselines",
    air_c: float | None = None,
    *,
    on_bench: bool = False,
) -> "tuple[Assessment, str | None]":
    """One stored throw, judged anew in every movement that its record holds; and the calibration it was judged with.

    ``baselines`` by direction. ``air_c``: the sheet's air temperature [degC], for a throw by hand that has none of its own.
    Earlier versions stored a record with several movements as one throw: then the worst movement counts, with the signs
    of the others beside its own.
    """
    if logged.trial.source == BY_HAND:
        from throwbook.core.sheets.assess_hand import assess_by_hand
        from throwbook.core.sheets.hand_readings import in_air

        throw, tools = hand_throw(dict(logged.trial.hand or {}), logged.direction)
        return assess_by_hand(in_air(throw, air_c), rig, tools, baselines.get(logged.direction)), None
    from throwbook.core.diagnosis.assess import assess_record, for_record

    trace = trace_of(book, logged)
    judged = for_record(assess_record(trace, rig, baselines, on_bench=on_bench))
    return judged, calibration_in(book, trace)


def judge_anew(
    book: Logbook,
    logged: LoggedTrial,
    rig: "Rig",
    held: Mapping[str, BaselineInForce],
    by: str,
    now: datetime,
    reason: str,
    air_c: float | None = None,
    *,
    on_bench: bool = False,
) -> "Assessment":
    """Judge a stored throw by what counts now, and keep that beside what it was judged to be."""
    assessment, calibration = judge_stored(book, logged, rig, baselines_of(held), air_c, on_bench=on_bench)
    used = frozen_id(held.get(logged.direction))
    book.judge(logged.id, assessment, by, now, __version__, used, reason, calibration)
    return assessment


def from_details(board: str, details: Mapping[str, object], id: str) -> CalibrationRecord:
    """A stored calibration as a record."""
    line = CurrentCalibration(**{one.name: details[one.name] for one in fields(CurrentCalibration)})  # type: ignore[arg-type]
    return CalibrationRecord(
        board,
        line,
        date.fromisoformat(str(details["done_on"])),
        date.fromisoformat(str(details["due_on"])),
        str(details["instrument"]),
        id,
    )


def under(trace: "Trace", record: CalibrationRecord) -> "Trace":
    """A trace of this board as it would be under another calibration."""
    import numpy as np

    zero_a = float(trace.head.get("calibration_zero_a", 0.0))
    gain = float(trace.head.get("calibration_gain", 1.0))
    shown_a = (trace.current_a - zero_a) / gain
    head = {
        **trace.head,
        "calibration": record.id,
        "calibration_zero_a": record.line.zero_a,
        "calibration_gain": record.line.gain,
        GAIN_U_KEY: record.line.relative_u(max(float(np.median(np.abs(shown_a))), LEAST_USUAL_A)),
    }
    return replace(trace, current_a=record.line.corrected(shown_a), head=head)


def trace_of(book: Logbook, logged: LoggedTrial) -> "Trace":
    """A trial's trace under the calibration of its board that counts now."""
    trace = book.trace(logged.id)
    head = dict(logged.placement.head) if logged.placement is not None else {}
    stored = current(book.calibrations(str(head["board"]))) if "board" in head else None
    if stored is None or head.get("calibration") == stored.id:
        return replace(trace, head=head)
    return under(replace(trace, head=head), from_details(stored.board, stored.details, stored.id))


def calibration_in(book: Logbook, trace: "Trace") -> str | None:
    """Id of the calibration that a trace stands under, where this logbook holds it."""
    named = trace.head.get("calibration")
    known = book.calibrations(str(trace.head["board"])) if named and "board" in trace.head else ()
    return next((one.id for one in known if one.id == named), None)


def hand_throw(kept: dict[str, Any], direction: str) -> "tuple[HandThrow, Instruments]":
    """Readings and instruments as the logbook keeps them for a trial by hand."""
    from throwbook.core.sheets.hand_readings import HandThrow, Reading, instruments_from

    instruments = instruments_from(kept.pop("instruments", {}))
    readings: dict[str, Any] = {
        name: Reading(**value) if isinstance(value, dict) else value for name, value in kept.items()
    }
    return HandThrow(**{**readings, "direction": direction}), instruments


@dataclass(frozen=True)
class Changed:
    """A throw whose verdict is another one now."""

    position: int
    direction: str
    before: str
    after: str
    because: str


@dataclass(frozen=True)
class Rejudged:
    """What judging again came to."""

    state: SheetState
    judged: int
    changed: tuple[Changed, ...]
    status: Status


def rejudge(logbook: str | Path | None, sheet: str, reason: str, by: str, now: datetime) -> Rejudged:
    """Judge every throw of a sheet again. Raises InputError without a reason, or for a sheet that isn't there."""
    if not written(reason):
        raise InputError("no reason given", Field("reason"), "Say why it is judged again.")
    with opened(logbook) as book, book.transaction():
        state = book.sheet(sheet)
        rig = rig_of(book, state.sheet.rig)
        logged = [one for one in book.trials(sheet=state.sheet.id) if one.judgement is not None]
        kind = state.sheet.kind
        baselines = baselines_for(book, rig.name, kind)
        air_c = conditions_from(state.answers).ambient_c
        changed = []
        for one in logged:
            assessment = judge_anew(
                book, one, rig, baselines, by, now, written(reason), air_c, on_bench=kind == BENCH
            )
            before = one.judgement.assessment.verdict if one.judgement else ""
            if assessment.verdict != before:
                position = one.placement.position if one.placement else 0
                changed.append(
                    Changed(position, one.direction, before, assessment.verdict, assessment.because)
                )
        for one in book.trials(sheet=state.sheet.id):
            latch.raise_for(book, state, one, by, now)
        return Rejudged(state, len(logged), tuple(changed), latch.status(book, rig.name))


@dataclass(frozen=True, eq=False)
class TrialView:
    """Everything there is to see of one trial."""

    rig: "Rig"
    logged: LoggedTrial
    trace: "Trace | None"
    """None: measured by hand."""
    profile: "Profile | None"
    baseline: "Baseline | None"
    judgements: int
    """How often it was judged; more than once after a calibration."""
    later: int = 0
    """Throws of its direction that follow it on its sheet, measured as it was; those left out aren't counted."""
    later_alike: int = 0
    """Those of them that show one of its signs too."""


def trial_view(logbook: str | Path | None, trial: str) -> TrialView:
    """Raises InputError for an id that the logbook doesn't have."""
    with opened(logbook, read_only=True) as book:
        sheets = [book.sheet(name).sheet.id for name in book.sheets_of(trial)]
        of_sheets = (book.trials(sheet=sheet) for sheet in sheets)
        beside = next((trials for trials in of_sheets if any(one.id == trial for one in trials)), [])
        logged = next((one for one in beside if one.id == trial), None)
        if logged is None:
            raise InputError("the logbook has no such throw", trial, "Open it from its sheet.")
        kind = book.sheet(logged.placement.sheet).sheet.kind if logged.placement else ""
        in_force = baseline_for(book, logged.trial.rig, logged.direction, kind)
        judged = logged.judgement
        later = [
            one
            for one in beside[beside.index(logged) + 1 :]
            if (one.direction, one.trial.source) == (logged.direction, logged.trial.source)
            and one.judgement
            and not (one.placement and one.placement.left_out)
        ]
        return TrialView(
            rig_of(book, logged.trial.rig),
            logged,
            book.trace(trial) if logged.trial.source == FROM_TRACE else None,
            book.profile(judged) if judged is not None else None,
            in_force.baseline if in_force is not None else None,
            len(book.revisions(trial)[2]),
            len(later),
            sum(bool(_signs_of(one) & _signs_of(logged)) for one in later),
        )


def _signs_of(logged: LoggedTrial) -> set[str]:
    """Names of the signs above ``info`` that a throw shows."""
    judged = logged.judgement
    return {one.sign for one in judged.assessment.signs if one.level != INFO} if judged else set()


def newest_trials(logbook: str | Path | None, rig: str, at_most: int = 200) -> list[LoggedTrial]:
    """The newest throws of a rig, newest first; those of one day typed from paper in the order of their sheet."""
    with opened(logbook, read_only=True) as book:
        found = [one for one in book.trials(rig=rig) if one.when is not None]
    return sorted(found, key=_in_order, reverse=True)[:at_most]


def _in_order(one: LoggedTrial) -> tuple[str, int, str]:
    return str(one.when), one.placement.position if one.placement else 0, one.id


SHARED = "shared record"


def raise_shared(book: Logbook, by: str, now: datetime) -> list[Order]:
    """Write the orders for every record that counts on two rigs and that aren't there yet, in one transaction."""
    written = []
    with book.transaction():
        for trial, rig, other in sorted(book.shared_records()):
            if any(one.trial == trial and one.cause == SHARED for one in book.orders(rig)):
                continue
            because = (
                f"the record of {', '.join(book.sheets_of(trial))} is also on {other}; "
                "a signed correction moves it to the rig that made it"
            )
            written.append(book.add_order(raise_order(rig, SHARED, because, now, by, trial=trial)))
    return written


BY = f"Throwbook {__version__}"
"""Who writes it down: no person looked."""
REASON = f"judged again by method {METHOD_VERSION}"
AT_ONCE = 20
"""Throws in one transaction: another program that writes doesn't wait long."""
LAPSED = "acceptance lapsed"
MOST_SAID = 2
Progress = Callable[[int, int], None]
"""Called with throws judged so far, and how many there are."""


@dataclass
class JudgedAgain:
    """What it came to."""

    judged: int = 0
    raised: list[Order] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    """Why some throws couldn't be judged again."""


def judge_again(book: Logbook, now: datetime, progress: Progress | None = None) -> JudgedAgain:
    """Judge again every throw that only an earlier method judged, and look at the accepted sheets of their rigs."""
    earlier = book.judged_earlier()
    total = sum(len(trials) for trials in earlier.values())
    done = JudgedAgain()
    for rig, trials in sorted(earlier.items()):
        wanted = set(trials)
        logged = [one for one in book.trials(rig=rig) if one.id in wanted]
        grounds = Grounds(book, rig)
        for few in _few_by_few(logged):
            _judge_few(book, few, grounds, now, done)
            if progress is not None:
                progress(done.judged + len(done.left), total)
        done.raised += _lapsed(book, rig, now)
    if earlier:
        done.raised += raise_shared(book, BY, now)
    return done


def _few_by_few(logged: Sequence[LoggedTrial]) -> Iterator[Sequence[LoggedTrial]]:
    for first in range(0, len(logged), AT_ONCE):
        yield logged[first : first + AT_ONCE]


class Grounds:
    """What the throws of one rig were judged by."""

    def __init__(self, book: Logbook, rig: str) -> None:
        self._book, self._name = book, rig
        self._revisions: dict[str, RigRevision] = {one.id: one for one in book.rig_revisions(rig)}
        self._baselines: dict[str, BaselineRecord] = {one.id: one for one in book.baselines(rig)}
        self._sheets: dict[str, SheetState] = {one.sheet.id: one for one in book.sheets(rig)}

    def sheet(self, logged: LoggedTrial) -> SheetState | None:
        """The one it stands on."""
        return self._sheets.get(logged.placement.sheet) if logged.placement is not None else None

    def sheets(self, logged: LoggedTrial) -> list[SheetState]:
        """Every one it stands on: what a bench sheet passes over another one raises."""
        places = heads(self._book.revisions(logged.id)[0])
        return [
            self._sheets[name] for name in dict.fromkeys(one.sheet for one in places) if name in self._sheets
        ]

    def judge(self, logged: LoggedTrial) -> "tuple[Assessment, str | None]":
        """As this version does, by the rig and the baseline it was judged by before; and the calibration."""
        before = logged.judgement
        assert before is not None
        revision = self._revisions.get(before.rig_revision or "")
        rig = rig_from(revision) if revision is not None else rig_of(self._book, self._name)
        state = self.sheet(logged)
        air_c = conditions_from(state.answers).ambient_c if state is not None else None
        bench = state is not None and state.sheet.kind == BENCH
        return judge_stored(self._book, logged, rig, self._baseline(before.baseline), air_c, on_bench=bench)

    def _baseline(self, name: str | None) -> "dict[str, Baseline]":
        record = self._baselines.get(name or "")
        if record is None:
            return {}
        from throwbook.logbook.serialization import baseline_from_json

        return {record.direction: baseline_from_json(record.body)}


def _judge_few(
    book: Logbook, few: Sequence[LoggedTrial], grounds: Grounds, now: datetime, done: JudgedAgain
) -> None:
    """Judge them first, then write all at once."""
    judged = []
    for one in few:
        try:
            judged.append((one, *grounds.judge(one)))
        except ThrowbookError as error:
            done.left.append(f"throw {one.id[:8]}: {error}")
    past = {one.id: [each.assessment for each in book.revisions(one.id)[2]] for one, _, _ in judged}
    with book.transaction():
        for one, assessment, calibration in judged:
            before = one.judgement
            assert before is not None
            book.judge(
                one.id,
                assessment,
                BY,
                now,
                __version__,
                before.baseline,
                REASON,
                calibration,
                rig_revision=before.rig_revision,
            )
            done.judged += 1
        sheets = {state.sheet.id: state for one in few for state in grounds.sheets(one)}
        for state in sheets.values():
            for again in book.trials(sheet=state.sheet.id):
                if again.id in past:
                    done.raised += latch.raise_shown_now(book, state, again, past[again.id], BY, now)


def _lapsed(book: Logbook, rig: str, now: datetime) -> list[Order]:
    """An order for the newest accepted sheet of each kind, where it no longer passes by the rules and judgements of now."""
    accepted = {one.sheet.kind: one for one in book.sheets(rig) if one.state == ACCEPTED}
    broken = {seal.id for seal, _ in book.broken_seals(rig)} if accepted else set()
    known = {order.sheet for order in book.orders(rig) if order.cause == LAPSED}
    raised = []
    for state in accepted.values():
        if state.sheet.id in known:
            continue
        against = book.against(state.sheet.id, rig_for_sheet(book, state), broken)
        if against:
            because = f"sheet {state.name}: {'; '.join(against[:MOST_SAID])}"
            order = raise_order(rig, LAPSED, because, now, BY, sheet=state.sheet.id)
            with book.transaction():
                raised.append(book.add_order(order))
    return raised
