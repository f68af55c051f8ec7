"""One trial in depth: its record, its profile, and the baseline it is held against."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.records.records import FROM_TRACE, LoggedTrial
from logger.errors import InputError
from logger.jobs.baselines import baseline_for
from logger.jobs.logbooks import opened
from logger.jobs.rig_of import rig_of

if TYPE_CHECKING:
    from logger.core.assessment import Profile
    from logger.core.rig import Rig
    from logger.core.stroke.baseline import Baseline
    from logger.core.trace import Trace


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


def trial_view(logbook: str | Path | None, trial: str) -> TrialView:
    """Raises InputError for an id that the logbook doesn't have."""
    with opened(logbook, read_only=True) as book:
        sheets = [book.sheet(name).sheet.id for name in book.sheets_of(trial)]
        logged = next((one for sheet in sheets for one in book.trials(sheet=sheet) if one.id == trial), None)
        if logged is None:
            raise InputError("the logbook has no such trial", trial, "Open it from its sheet.")
        kind = book.sheet(logged.placement.sheet).sheet.kind if logged.placement else ""
        held = baseline_for(book, logged.trial.rig, logged.direction, kind)
        judged = logged.judgement
        return TrialView(
            rig_of(book, logged.trial.rig),
            logged,
            book.trace(trial) if logged.trial.source == FROM_TRACE else None,
            book.profile(judged) if judged is not None else None,
            held.baseline if held is not None else None,
            len(book.revisions(trial)[2]),
        )


def newest_trials(logbook: str | Path | None, rig: str, at_most: int = 200) -> list[LoggedTrial]:
    """The newest throws of a rig, newest first."""
    with opened(logbook, read_only=True) as book:
        found = [one for one in book.trials(rig=rig) if one.when is not None]
    return sorted(found, key=lambda one: (str(one.when), one.id), reverse=True)[:at_most]
