"""Calibrate a board against a reference meter, keep it, and judge its trials anew. Never prints."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from throwbook.core.analysis.calibration import (
    CalibrationPoint,
    CalibrationRecord,
    fit_calibration,
)
from throwbook.errors import Field, InputError
from throwbook.protocol.messages import Samples
from throwbook.protocol.session import DEFAULT_BAUD

if TYPE_CHECKING:
    from throwbook.logbook import Logbook

GOOD_FOR = timedelta(days=365)
"""Common practice, no source."""


@dataclass(frozen=True)
class Shown:
    """What a board showed while the current was held steady."""

    board: str
    mean_a: float
    u_a: float
    """Standard uncertainty of the mean, slow wander included [A]."""


def read_board(port: str, *, baud: int = DEFAULT_BAUD, rate_hz: int = 200, seconds: float = 2.0) -> Shown:
    """Mean of what the board shows, uncorrected. Raises InputError, OutsideError."""
    import numpy as np

    from throwbook.jobs.board import BoardLink

    with BoardLink(port, baud) as link:
        blocks = [event.current_a for event, _ in link.run(rate_hz, seconds) if isinstance(event, Samples)]
        identity = link.session.identity
    assert identity is not None  # samples came, so it said who it is
    current_a = np.concatenate(blocks)
    # Neighbouring samples hang together, so the scatter of tenths of the stretch counts, not that of samples.
    tenths = [float(part.mean()) for part in np.array_split(current_a, 10) if len(part)]
    wander_a = float(np.std(tenths, ddof=1)) / np.sqrt(len(tenths)) if len(tenths) > 1 else 0.0
    step_a = identity.amp_lsb_ua * 1e-6 / np.sqrt(12.0)
    return Shown(identity.id, float(current_a.mean()), float(np.hypot(wander_a, step_a)))


def point(true_text: str, accuracy_text: str, shown: Shown, where: str = "meter") -> CalibrationPoint:
    """One point from the meter's reading as typed (``2.03A``) and its accuracy (``1% + 3 digits``)."""
    from throwbook.core.quantities.units import typed
    from throwbook.core.sheets.hand_readings import Reading, accuracy_from, metered

    read = typed(true_text, "current", where)
    measured = metered(Reading(read.value, read.step), accuracy_from(accuracy_text, Field("accuracy")))
    return CalibrationPoint(measured.value, measured.u / 2.0, shown.mean_a, shown.u_a)


def pair(text: str, accuracy_text: str, board: str) -> CalibrationPoint:
    """One point from readings taken together earlier: ``METER=BOARD``, as ``2.03A=2.11A``."""
    from throwbook.core.quantities.units import typed

    meter, equals, shown = text.partition("=")
    if not equals:
        raise InputError(
            f"'{text}' is no pair of readings", Field("pair"), "Type meter=board, for example 2.03A=2.11A"
        )
    read = typed(shown, "current", Field("pair"))
    return point(meter, accuracy_text, Shown(board, read.value, read.step / 12.0**0.5), Field("pair"))


def calibrated(
    board: str, points: Sequence[CalibrationPoint], instrument: str, done_on: date, due_on: date | None = None
) -> CalibrationRecord:
    """The calibration of these points. Raises InputError."""
    if not instrument.strip():
        raise InputError(
            "the reference meter is not named",
            Field("instrument"),
            'Give its make and serial number: "clamp meter 12"',
        )
    return CalibrationRecord(
        board, fit_calibration(points), done_on, due_on or done_on + GOOD_FOR, instrument
    )


def store(
    record: CalibrationRecord, logbook: str | None, by: str, now: datetime
) -> tuple[CalibrationRecord, int]:
    """Keep it in the logbook and judge that board's trials anew; gives it with its id, and how many trials."""
    from throwbook.core.records import Calibration
    from throwbook.jobs.find import opened

    details = {
        **asdict(record.line),
        "done_on": record.done_on.isoformat(),
        "due_on": record.due_on.isoformat(),
        "instrument": record.instrument,
    }
    with opened(logbook) as book, book.transaction():
        stored = book.add_calibration(Calibration(record.board, details, now, by))
        kept = replace(record, id=stored.id)
        return kept, rejudge(book, kept, by, now)


def calibration_finder(logbook: str | None) -> Callable[[str], CalibrationRecord | None]:
    """Finds the calibration of a board in the logbook; nothing where there is no logbook."""

    def find(board: str) -> CalibrationRecord | None:
        from throwbook.core.records import current
        from throwbook.jobs.find import logbook_path, opened
        from throwbook.jobs.judgements import from_details

        if not logbook_path(logbook).is_file():
            return None
        with opened(logbook, read_only=True) as book:
            stored = current(book.calibrations(board))
        return None if stored is None else from_details(stored.board, stored.details, stored.id)

    return find


def rejudge(book: "Logbook", record: CalibrationRecord, by: str, now: datetime) -> int:
    """Judge every trial of the board under this calibration, as a new revision beside the old; gives how many.

    What a throw now fails takes its rig up at once.
    """
    from throwbook.core.records import BENCH
    from throwbook.jobs import latch
    from throwbook.jobs.find import baselines_for, rig_of
    from throwbook.jobs.judgements import judge_anew

    anew: set[str] = set()
    sheets: set[str] = set()
    for logged in [trial for rig in book.rig_names() for trial in book.trials(rig)]:
        head = logged.placement.head if logged.placement is not None else {}
        if head.get("board") != record.board or head.get("calibration") == record.id:
            continue
        kind = book.sheet(logged.placement.sheet).sheet.kind if logged.placement is not None else ""
        baselines = baselines_for(book, logged.trial.rig, kind)
        rig = rig_of(book, logged.trial.rig)
        why = "the board's calibration changed"
        judge_anew(book, logged, rig, baselines, by, now, why, on_bench=kind == BENCH)
        anew.add(logged.id)
        if logged.placement is not None:
            sheets.add(logged.placement.sheet)
    for state in (book.sheet(one) for one in sorted(sheets)):
        for logged in book.trials(sheet=state.sheet.id):
            if logged.id in anew:
                latch.raise_for(book, state, logged, by, now)
    return len(anew)
