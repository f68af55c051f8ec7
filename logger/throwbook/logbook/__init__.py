"""One SQLite file that holds years of a machine's life: append only, mergeable.

    with open_logbook(path) as book:                          # reading commands: read_only=True
        with book.transaction():                              # all of it or nothing
            book.add_rig("quarry-loader", toml_text, by, now)
            sheet = book.plan_sheet("quarry-loader", "seasonal", plan, by, now)
            book.answer(sheet.id, {"ambient_c": 4.0}, by, now)
            book.add_trial(sheet.id, trace, assessment, by, now, software_version=__version__)
        for logged in book.trials(rig="quarry-loader"):       # cheap: no samples are unpacked
            logged.judgement.assessment.figures.run_current_a
        book.trace(logged.id)                                 # the samples, exactly as they came in

What can be added: ``add_rig``, ``plan_sheet``, ``answer``, ``add_trial`` (a Trace, or ``hand_trial(...)``), ``place``,
``judge``, ``sight``, ``decide``, ``seal_sheet``, ``add_order``, ``add_service``, ``add_baseline``, ``add_calibration``,
``add_meter``, ``add_photograph``.
What can be read: ``rig_names``, ``rig``, ``rig_revisions``, ``trial_counts``, ``sheets``, ``sheet``, ``answers``,
``decisions``, ``seals``, ``trials``, ``revisions``, ``identity``, ``has_trial``, ``sheets_of``, ``judgements``, ``profile``, ``trace``,
``asking``, ``orders``, ``altered_orders``, ``services``, ``baselines``, ``calibrations``, ``meters``, ``photographs``, ``picture``. Nothing can be changed or removed.
Rows come back as the dataclasses of ``throwbook.core.records``.
"""

from pathlib import Path

from throwbook.errors import InputError, Remedy
from throwbook.logbook.acceptance import AcceptanceStore
from throwbook.logbook.connection import LONGEST_WAIT_S, Waiting, plain_errors
from throwbook.logbook.opening import open_reading, open_writing
from throwbook.logbook.trials import hand_trial

__all__ = ["Logbook", "hand_trial", "open_logbook"]


class Logbook(AcceptanceStore):
    """An open logbook; a context manager that closes it."""


def open_logbook(
    path: Path | str,
    read_only: bool = False,
    waiting: Waiting | None = None,
    longest_wait_s: float = LONGEST_WAIT_S,
) -> Logbook:
    """Open a logbook, or start one where there is none and it isn't for reading only.

    ``waiting`` is called once when another program is writing and we wait for it, at most ``longest_wait_s``. An old
    file is brought to the newest version, a safe copy of it made first. Raises InputError for a file that isn't a
    logbook, is newer than this program, or (reading) isn't there; OutsideError when the disk or another program
    stands in the way.
    """
    path = Path(path)
    if not read_only:
        db = open_writing(path, waiting)
        return Logbook(path, db, False, waiting, longest_wait_s=longest_wait_s)
    with plain_errors(path):
        missing = not path.exists()
    if missing:
        raise InputError(
            "there is no logbook here yet",
            str(path),
            remedy=Remedy.START_LOGBOOK,
        )
    db, scratch = open_reading(path, waiting)
    return Logbook(path, db, True, waiting, scratch)
