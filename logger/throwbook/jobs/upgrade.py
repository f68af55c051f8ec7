"""After an upgrade: stored throws judged by the method of now, beside what they were judged to be, and raised where due.

It only ever tightens: what was raised stays raised, and of two judgements on the same grounds the worse counts. Each throw
is judged on the grounds it was judged on before: its version of the rig, its baseline. A record that a merge brought to
stand on two rigs was never made by one of them, so an order stands on both.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from throwbook import __version__
from throwbook.core.assessment import METHOD_VERSION
from throwbook.core.records import (
    ACCEPTED,
    BENCH,
    BaselineRecord,
    LoggedTrial,
    Order,
    RigRevision,
    SheetState,
    heads,
)
from throwbook.core.sheets.conditions import conditions_from
from throwbook.core.status.latch import raise_order
from throwbook.errors import ThrowbookError
from throwbook.jobs import latch
from throwbook.jobs.find import rig_for_sheet, rig_from, rig_of
from throwbook.jobs.judgements import judge_stored
from throwbook.logbook import Logbook

if TYPE_CHECKING:
    from throwbook.core.analysis.baseline import Baseline
    from throwbook.core.assessment import Assessment


SHARED = "shared record"


def raise_shared(book: Logbook, by: str, now: datetime) -> list[Order]:
    """Write the orders for every record that counts on two rigs and that aren't there yet, in one transaction."""
    written = []
    with book.transaction():
        for trial, rig, other in sorted(book.shared_records()):
            if any(one.trial == trial and one.cause == SHARED for one in book.orders(rig)):
                continue
            because = (
                f"the record of {', '.join(book.sheets_of(trial))} stands on {other} too; "
                "'throwbook sheet reassign' puts it down to the rig it is of"
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
