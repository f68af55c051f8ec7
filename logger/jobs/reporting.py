"""Papers from the logbook: reports, the blank sheet, the cab card. Each is written whole or not at all."""

import os
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import OutsideError
from logger.jobs.logbooks import opened
from logger.jobs.report_source import material_in

if TYPE_CHECKING:
    from logger.report.document import Document
    from logger.report.material import Material


@dataclass(frozen=True)
class Paper:
    """A paper that was written."""

    number: str
    files: tuple[Path, ...]


def report_rig(
    logbook: str | Path | None,
    rig: str,
    folder: Path,
    issued: date,
    paper: str = "a4",
    place: str = "",
    owner: str = "",
) -> Paper:
    """The report of one rig as PDF and as HTML, both saying the same. Raises InputError for a rig that isn't there."""
    from logger.report.content import rig_report
    from logger.report.pdf_style import paper_size

    paper_size(paper)
    with opened(logbook, read_only=True) as book:
        material = material_in(book, rig, issued, place=place, owner=owner)
    return _write_both(rig_report(material), material, folder, f"report-{rig}", paper)


def report_sheet(
    logbook: str | Path | None,
    sheet: str,
    folder: Path,
    issued: date,
    paper: str = "a4",
    place: str = "",
    owner: str = "",
) -> Paper:
    """The report of one sheet as PDF and as HTML. Raises InputError for a sheet that isn't there."""
    from logger.report.content import sheet_report
    from logger.report.pdf_style import paper_size

    paper_size(paper)
    with opened(logbook, read_only=True) as book:
        state = book.sheet(sheet)
        material = material_in(book, state.sheet.rig, issued, sheet=state.name, place=place, owner=owner)
    return _write_both(sheet_report(material, state.name), material, folder, f"sheet-{state.name}", paper)


def _write_both(document: "Document", material: "Material", folder: Path, stem: str, paper: str) -> Paper:
    from logger.report.drawings import Drawings
    from logger.report.html import to_html
    from logger.report.pdf import to_pdf

    drawings = Drawings(material)
    pdf = write(folder / f"{stem}.pdf", to_pdf(document, paper, drawings.as_pdf_pages))
    html = write(folder / f"{stem}.html", to_html(document, drawings.as_svg).encode())
    return Paper(document.number, (pdf, html))


def write(path: Path, content: bytes) -> Path:
    """Write a file that appears whole or not at all. Raises OutsideError when the disk refuses."""
    part = path.with_name(f"{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(content)
        os.replace(part, path)
    except OSError as error:
        what = f"writing failed ({error.strerror})"
        raise OutsideError(
            what, str(path), "Check the folder and the free space, or give --folder."
        ) from error
    finally:
        part.unlink(missing_ok=True)
    return path
