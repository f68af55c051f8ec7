"""The list of rigs as a file: CSV for a spreadsheet, PDF for the wall. Each is written whole or not at all."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from logger.core.standing.status_words import reasons, short
from logger.jobs.reporting import write
from logger.jobs.rig_list import Listed, Wanted

COLUMNS = (
    "rig",
    "status",
    "commissioned",
    "throws",
    "last_throw",
    "due_on",
    "overdue",
    "next_check",
    "because",
    "retired",
    "unfinished_recordings",
)


def list_csv(found: Sequence[Listed], path: Path) -> None:
    """One row a rig. Raises OutsideError when the disk refuses."""
    from logger.files.tables import CsvTable, Layout
    from logger.files.whole_file import whole_file

    with whole_file(path) as part:
        table = CsvTable(part, Layout(COLUMNS))
        table.add(_row(one) for one in found)
        table.close()


def list_pdf(found: Sequence[Listed], wanted: Wanted, path: Path, issued: date, paper: str) -> None:
    """The same on paper. Raises OutsideError when the disk refuses."""
    from logger.report.pdf import to_pdf
    from logger.report.wall import WallRow, wall_list

    rows = [
        WallRow(
            one.name,
            short(one.standing.status, one.standing.commissioned),
            one.standing.next_check.sentence,
            one.last_trial.date().isoformat() if one.last_trial else "-",
        )
        for one in found
    ]
    practice = any(one.standing.practice for one in found)
    write(path, to_pdf(wall_list(rows, said(wanted), issued, practice), paper))


def said(wanted: Wanted) -> str:
    """Which rigs were asked for, in words."""
    asked = [
        f"'{wanted.part}' in the name" if wanted.part else "",
        wanted.level,
        f"due within {wanted.due_within_days} days" if wanted.due_within_days is not None else "",
        f"no throw for {wanted.unseen_days} days" if wanted.unseen_days is not None else "",
        "retired" if wanted.retired else "",
    ]
    return ", ".join(text for text in asked if text) or "all"


def _row(one: Listed) -> dict[str, object]:
    standing, check = one.standing, one.standing.next_check
    return {
        "rig": one.name,
        "status": short(standing.status, standing.commissioned),
        "commissioned": standing.commissioned,
        "throws": one.trials,
        "last_throw": one.last_trial.date().isoformat() if one.last_trial else None,
        "due_on": check.on.isoformat() if check.on else None,
        "overdue": check.overdue,
        "next_check": check.sentence,
        "because": "; ".join(reasons(standing.status)) or None,
        "retired": one.retired or None,
        "unfinished_recordings": sum(bool(each.journal) for each in standing.status.pending),
    }
