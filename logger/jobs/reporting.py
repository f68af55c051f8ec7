"""Papers from the logbook: reports, the blank sheet, the cab card. Each is written whole or not at all."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.quantities.plain import file_name
from logger.core.records.records import SPOT
from logger.errors import OutsideError
from logger.files.whole_file import whole_file
from logger.jobs.logbooks import opened

if TYPE_CHECKING:
    from logger.logbook import Logbook
    from logger.report.document import Document
    from logger.report.forms import FormSource
    from logger.report.material import Material


@dataclass(frozen=True)
class Issue:
    """How a paper leaves the computer."""

    folder: Path
    on: date
    """Day of issue: a paper never asks the clock."""
    paper: str = "a4"
    place: str = ""
    """Where the tests were done; like ``owner`` printed on reports only, the logbook doesn't hold it."""
    owner: str = ""


@dataclass(frozen=True)
class Paper:
    """A paper that was written."""

    number: str
    files: tuple[Path, ...]


def report_rig(logbook: str | Path | None, rig: str, issue: Issue) -> Paper:
    """The report of one rig as PDF and as HTML, both saying the same. Raises InputError for a rig that isn't there."""
    from logger.jobs.report_source import material_in
    from logger.report.content import rig_report

    with _read(logbook, issue) as book:
        material = material_in(book, rig, issue.on, place=issue.place, owner=issue.owner)
    return _write_both(rig_report(material), material, f"report-{file_name(rig)}", issue)


def report_sheet(logbook: str | Path | None, sheet: str, issue: Issue) -> Paper:
    """The report of one sheet as PDF and as HTML. Raises InputError for a sheet that isn't there."""
    from logger.jobs.report_source import material_in
    from logger.report.content import sheet_report

    with _read(logbook, issue) as book:
        state = book.sheet(sheet)
        name, rig = state.name, state.sheet.rig
        material = material_in(book, rig, issue.on, sheet=name, place=issue.place, owner=issue.owner)
    return _write_both(sheet_report(material, name), material, f"sheet-{file_name(name)}", issue)


def blank(
    logbook: str | Path | None,
    rig: str,
    kind: str,
    issue: Issue,
    throws: int | None = None,
    voltage_v: float | None = None,
) -> Paper:
    """A blank sheet for ``rig`` as PDF. Raises InputError for a rig that isn't there."""
    from logger.core.sheets.sheet import plan_for
    from logger.report.forms import blank_sheet
    from logger.report.pdf import to_pdf

    source = _form_source(logbook, rig, kind, issue, voltage_v)
    document = blank_sheet(source, kind, plan_for(kind, source.rig, throws))
    sheet = write(issue.folder / f"blank-{kind}-{file_name(rig)}.pdf", to_pdf(document, issue.paper))
    return Paper(document.number, (sheet,))


def card(logbook: str | Path | None, rig: str, issue: Issue, voltage_v: float | None = None) -> Paper:
    """The cab card of ``rig``, on one page of its paper and one of pocket size. Raises InputError for an unknown rig."""
    from logger.report.forms import cab_card
    from logger.report.pdf import to_one_page

    document = cab_card(_form_source(logbook, rig, SPOT, issue, voltage_v))
    stem = f"cab-card-{file_name(rig)}"
    page = write(issue.folder / f"{stem}.pdf", to_one_page(document, issue.paper))
    pocket = write(issue.folder / f"{stem}-pocket.pdf", to_one_page(document, "pocket"))
    return Paper(document.number, (page, pocket))


def _read(logbook: str | Path | None, issue: Issue) -> "Logbook":
    """The logbook, opened to read; a paper that can't be printed on is refused before the work begins."""
    from logger.report.pdf_style import paper_size

    paper_size(issue.paper)
    return opened(logbook, read_only=True)


def _write_both(document: "Document", material: "Material", stem: str, issue: Issue) -> Paper:
    from logger.report.drawings import Drawings
    from logger.report.html import to_html
    from logger.report.pdf import to_pdf

    drawings = Drawings(material)
    pdf = write(issue.folder / f"{stem}.pdf", to_pdf(document, issue.paper, drawings.as_pdf_pages))
    html = write(issue.folder / f"{stem}.html", to_html(document, drawings.as_svg).encode())
    return Paper(document.number, (pdf, html))


def write(path: Path, content: bytes) -> Path:
    """Write a file that appears whole or not at all. Raises OutsideError when the disk refuses."""
    do = "Check the folder and the free space, or give --folder."
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutsideError(f"writing failed ({error.strerror})", str(path), do) from error
    with whole_file(path, do) as part:
        part.write_bytes(content)
    return path


def _form_source(
    logbook: str | Path | None, rig: str, kind: str, issue: Issue, voltage_v: float | None
) -> "FormSource":
    """``kind`` of the throws the paper is for: off the machine there is no load, so bench throws don't speak for others."""
    from logger import __version__
    from logger.core.seasons.expected import own_weather
    from logger.core.seasons.season_rows import history_from
    from logger.jobs.baselines import baseline_for
    from logger.jobs.latch import standing
    from logger.jobs.rig_events import gaps_in, happened_in, not_proved_in
    from logger.jobs.rig_of import rig_of
    from logger.jobs.season_source import rows_from_logbook
    from logger.jobs.way_back import steps_said
    from logger.report.forms import FormSource

    with _read(logbook, issue) as book:
        found = rig_of(book, rig)
        stands = standing(book, rig, issue.on)
        held = {
            way: one.baseline
            for way in ("lock", "unlock")
            if (one := baseline_for(book, rig, way, kind)) is not None
        }
        history = history_from(rows_from_logbook(book, rig, book.trials(rig=rig)))
        happened, gaps = happened_in(book, found.name), gaps_in(book, found.name)
        steps = steps_said(book, found.name, stands.status)
        unproved = not_proved_in(book, found.name)
        weather = {way: shown for way in held if (shown := own_weather(history, way)) is not None}
    return FormSource(
        found,
        held,
        stands.status,
        stands.commissioned,
        stands.next_check,
        issue.on,
        __version__,
        voltage_v,
        weather,
        stands.practice,
        happened,
        gaps,
        steps,
        unproved,
    )
