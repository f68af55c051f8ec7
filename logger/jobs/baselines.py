"""Which baseline a trial is judged against: the frozen one, or a provisional one from the rig's first sheet."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from logger.core.records import BENCH, COMMISSIONING, BaselineRecord, LoggedTrial
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.assessment import Assessment
    from logger.core.baseline import Baseline


@dataclass(frozen=True, eq=False)
class Held:
    """A baseline and the row it comes from."""

    baseline: "Baseline"
    record: BaselineRecord | None
    """None: provisional, drawn from the first bench or commissioning sheet."""


def baseline_for(book: Logbook, rig: str, direction: str) -> Held | None:
    """The newest frozen baseline of this direction, or a provisional one, or None before there is any healthy throw."""
    frozen = book.baselines(rig, direction)
    if frozen:
        from logger.logbook.baseline_json import from_json_value

        return Held(from_json_value(frozen[-1].body), frozen[-1])
    provisional = _provisional(book, rig, direction)
    return Held(provisional, None) if provisional is not None else None


def freeze_baselines(
    book: Logbook,
    rig: str,
    trials: Iterable[LoggedTrial],
    by: str,
    now: datetime,
    reason: str,
    service: str | None = None,
) -> list[BaselineRecord]:
    """Freeze one baseline a direction from these trials (as-found throws and unfit ones left out); old ones stay."""
    from logger.core.baseline import make_baseline
    from logger.logbook.baseline_json import to_json_value

    listed = list(trials)
    found = []
    with book.transaction():
        for direction in sorted({logged.direction for logged in listed}):
            chosen = [logged for logged in listed if logged.direction == direction and _fit(logged)]
            if not chosen:
                continue
            baseline = make_baseline([_whole(book, logged) for logged in chosen], reason)
            ids = tuple(logged.id for logged in chosen)
            body = to_json_value(baseline)
            found.append(
                book.add_baseline(BaselineRecord(rig, direction, ids, body, now, by, reason, service))
            )
    return found


def _provisional(book: Logbook, rig: str, direction: str) -> "Baseline | None":
    from logger.core.baseline import make_baseline

    for state in book.sheets(rig):
        if state.sheet.kind not in (BENCH, COMMISSIONING):
            continue
        fit = [
            logged
            for logged in book.trials(sheet=state.sheet.id)
            if logged.direction == direction and _fit(logged)
        ]
        if fit:
            reason = f"the first {state.sheet.kind} sheet, {state.name}"
            return make_baseline([_whole(book, logged) for logged in fit], reason, provisional=True)
    return None


def _fit(logged: LoggedTrial) -> bool:
    """Whether a trial may be in a baseline: complete, not as found, not left out, nothing failed."""
    from logger.core.assessment import CUT_OFF, FAIL

    place, judged = logged.placement, logged.judgement
    return (
        place is not None
        and not place.as_found
        and not place.left_out
        and judged is not None
        and judged.assessment.usable
        and judged.assessment.end == CUT_OFF
        and judged.assessment.verdict != FAIL
    )


def _whole(book: Logbook, logged: LoggedTrial) -> "Assessment":
    """The assessment with its profile."""
    assert logged.judgement is not None  # _fit has seen to it
    return replace(logged.judgement.assessment, profile=book.profile(logged.judgement.id))
