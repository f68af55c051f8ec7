"""Which papers and data there are, and the job that makes each. Nothing of Textual."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.quantities.plain import counted

if TYPE_CHECKING:
    from logger.jobs import reporting

Make = Callable[[str | None, str | None, Path | None, datetime], list[str]]


@dataclass(frozen=True)
class Paper:
    """One thing that can be made."""

    name: str
    says: str
    file: str
    """Middle of its usual file name."""
    ending: str | None
    """Of the file; empty: a folder; None: nothing is written to a place of one's choice."""
    needs_rig: bool
    """Only of one rig."""
    make: Make
    """Called in a worker with logbook, rig, place and now; gives lines to tell, the first says where it is."""


def _export(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> list[str]:
    from logger.jobs.exporting import export

    assert where is not None
    done = export(logbook, where, rig=rig)
    rows = ", ".join(f"{name} {counted(count, 'row')}" for name, count in done.files.items())
    return [f"Exported to {done.folder}.", f"{rows}."]


def _backup(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> list[str]:
    from logger.jobs.upkeep import back_up

    done = back_up(logbook, where, now)
    return [
        f"Backed up to {done.target}, {done.bytes / 1e6:.1f} MB; it was read again and is whole. Put it on another disk; F1 says how it is used again."
    ]


def _check(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> list[str]:
    from logger.jobs.upkeep import check

    path, found = check(logbook)
    if not found.problems:
        return [f"{path.name}: nothing is changed, nothing is lost."]
    return [
        f"{path.name}: {counted(len(found.problems), 'thing')} not as it was written:",
        *(f"{one.where}: {one.what}" for one in found.problems[:10]),
    ]


def _written(done: "reporting.Paper") -> list[str]:
    where = done.files[0].parent
    return [f"Paper {done.number} is written. It is in {where}:", *(file.name for file in done.files)]


def _report(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> list[str]:
    from logger.jobs.reporting import Issue, report_rig

    assert rig is not None
    assert where is not None
    return _written(report_rig(logbook, rig, Issue(where, now.date())))


def _blank(kind: str) -> Make:
    def make(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> list[str]:
        from logger.jobs.reporting import Issue, blank

        assert rig is not None
        assert where is not None
        return _written(blank(logbook, rig, kind, Issue(where, now.date())))

    return make


def _card(logbook: str | None, rig: str | None, where: Path | None, now: datetime) -> list[str]:
    from logger.jobs.reporting import Issue, card

    assert rig is not None
    assert where is not None
    return _written(card(logbook, rig, Issue(where, now.date())))


PAPERS: tuple[Paper, ...] = (
    Paper("report", "the rig's history as PDF and as a web page", "report", "", True, _report),
    Paper(
        "cab card",
        "for the cab: what is normal, or DO NOT USE",
        "cab-card",
        "",
        True,
        _card,
    ),
    Paper("blank commissioning sheet", "to fill in by hand", "blank", "", True, _blank("commissioning")),
    Paper("blank seasonal sheet", "to fill in by hand", "blank-seasonal", "", True, _blank("seasonal")),
    Paper("export", "tables as CSV, with what each column means", "export", "", False, _export),
    Paper(
        "backup",
        "a copy of the whole logbook, read again to be sure",
        "backup",
        ".throwbook",
        False,
        _backup,
    ),
    Paper("check", "looks for what was changed or lost", "check", None, False, _check),
)
