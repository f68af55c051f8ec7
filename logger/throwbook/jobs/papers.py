"""Papers from the logbook: reports, blank sheet, cab card, and what each rests on. Each is written whole or not at all."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.quantities.text import file_name
from throwbook.core.records import FROM_TRACE, SPOT, Calibration, LoggedTrial, SheetState
from throwbook.core.rig import METRIC, US, Rig
from throwbook.errors import OutsideError, Remedy
from throwbook.files.tables import CHECK_FOLDER, whole_file
from throwbook.jobs.find import baseline_for, opened, rig_for_sheet, rig_of
from throwbook.jobs.latch import rig_status
from throwbook.jobs.meters import meters_on
from throwbook.jobs.rig_changes import switches_fitted
from throwbook.jobs.steps_to_clear import gaps_in, happened_in, not_proved_in, steps_said
from throwbook.jobs.trend import rows_from_logbook, trend_in
from throwbook.logbook import Logbook

if TYPE_CHECKING:
    from throwbook.core.analysis.baseline import Baseline
    from throwbook.report.document import Document
    from throwbook.report.forms import FormSource
    from throwbook.report.material import Material, SheetPart


def material_in(
    book: Logbook, rig: str, issued: date, *, sheet: str | None = None, place: str = "", owner: str = ""
) -> "Material":
    """What a report of ``rig`` is made from; with ``sheet``, of that sheet only (its records are then drawn).

    Without a sheet the records of the commissioning sheet and of the newest one are drawn.
    """
    from throwbook import __version__
    from throwbook.core.assessment import METHOD_VERSION
    from throwbook.core.status.maintenance import entry_from
    from throwbook.report.material import Material

    states = [book.sheet(sheet)] if sheet is not None else book.sheets(rig)
    parts = [_part(book, state) for state in states]
    stands = rig_status(book, rig, issued)
    seasons = trend_in(book, rig, issued, profiles=sheet is None)
    baselines = {
        way: found
        for way in ("lock", "unlock")
        if (found := _baseline(book, rig, way, sheet, parts)) is not None
    }
    made = Material(
        rig=rig_of(book, rig),
        revisions=tuple(book.rig_revisions(rig)),
        status=stands.status,
        commissioned=stands.commissioned,
        next_check=stands.next_check,
        sheets=tuple(parts),
        services=tuple(sorted(map(entry_from, book.services(rig)), key=lambda one: (one.on, one.id))),
        orders=tuple(sorted(book.orders(rig), key=lambda one: (one.at, one.id))),
        baselines=baselines,
        baseline_records=tuple(book.baselines(rig)),
        calibrations=tuple(_calibrations(book, parts)),
        trends=seasons.trends,
        spot_heights=seasons.heights,
        spots=tuple(one.sentence for one in seasons.spots),
        season_notes=seasons.history.notes,
        happened=happened_in(book, rig),
        gaps=gaps_in(book, rig),
        next_action=f"{seasons.action.what}. Why: {seasons.action.why}" if seasons.trends else "",
        broken_seals=tuple(f"{seal.sheet[:8]}: {why}" for seal, why in book.broken_seals(rig)),
        traces={},
        issued=issued,
        software=__version__,
        place=place,
        owner=owner,
        method=METHOD_VERSION,
        practice=stands.practice,
        steps=steps_said(book, rig, stands.status),
    )
    return _with_records(book, made, sheet)


def _baseline(
    book: Logbook, rig: str, direction: str, sheet: str | None, parts: "Sequence[SheetPart]"
) -> "Baseline | None":
    """What the throws are drawn beside: for one sheet the baseline it was judged by, else the one that counts now."""
    from throwbook.logbook.serialization import baseline_from_json

    if sheet is not None:
        judged = {
            one.judgement.baseline
            for part in parts
            for one in part.logged.values()
            if one.judgement is not None
        }
        used = [row for row in book.baselines(rig, direction) if row.id in judged]
        if used:
            return baseline_from_json(used[-1].body)
    in_force = baseline_for(book, rig, direction)
    return None if in_force is None else in_force.baseline


def _part(book: Logbook, state: SheetState) -> "SheetPart":
    from throwbook.core.sheets.acceptance import acceptance
    from throwbook.core.sheets.photographs import photographs_at
    from throwbook.core.sheets.sheet import filled, no_since, plan_from, seen_at, sheet_trials
    from throwbook.report.material import SheetPart

    logged = book.trials(sheet=state.sheet.id)
    trials = sheet_trials(logged)
    sightings = book.sightings(state.sheet.id)
    rig = rig_for_sheet(book, state)
    photographs = book.photographs(state.sheet.id)
    return SheetPart(
        state=state,
        plan=plan_from(state.sheet.plan),
        rig=rig,
        trials=trials,
        logged={one.id: one for one in logged},
        seen={one.id: seen_at(one.id, sightings) for one in trials},
        acceptance=acceptance(filled(state), trials, sightings, rig),
        sightings=tuple(sightings),
        answers=tuple(book.answers(state.sheet.id)),
        no_since=no_since(book.sightings_since(state.sheet.id)),
        meters=meters_on(book, state, logged),
        rejudged=tuple(_rejudged(book, logged)),
        photographs={one.id: photographs_at(one.id, photographs) for one in trials},
    )


def _rejudged(book: Logbook, logged: Sequence[LoggedTrial]) -> list[tuple[int, str, str, str]]:
    found = []
    for one in logged:
        if one.judgement is not None and one.judgement.replaces and one.placement is not None:
            found.append(
                (
                    one.placement.position,
                    f"{one.judgement.at:%Y-%m-%d}",
                    one.judgement.by,
                    one.judgement.reason,
                )
            )
    return found


def _calibrations(book: Logbook, parts: "Sequence[SheetPart]") -> list[Calibration]:
    """Every calibration of the boards that the records name, oldest first."""
    heads = [
        one.placement.head for part in parts for one in part.logged.values() if one.placement is not None
    ]
    boards = sorted({str(head["board"]) for head in heads if head.get("board")})
    return [
        row for board in boards for row in sorted(book.calibrations(board), key=lambda one: (one.at, one.id))
    ]


def _with_records(book: Logbook, made: "Material", sheet: str | None) -> "Material":
    """The records and profiles of the sheets that are drawn, unpacked."""
    wanted = [made.commissioning, made.sheets[-1] if made.sheets else None]
    drawn = list(made.sheets) if sheet is not None else [part for part in wanted if part is not None]
    traces = {}
    whole = {}
    prints = _prints(book, drawn)
    for part in drawn:
        for one in part.logged.values():
            if one.trial.source == FROM_TRACE:
                traces[one.id] = book.trace(one.id)
        whole[part.name] = replace(
            part,
            trials=tuple(replace(one, assessment=_profiled(book, part, one.id)) for one in part.trials),
            prints=prints,
        )
    return replace(made, sheets=tuple(whole.get(part.name, part) for part in made.sheets), traces=traces)


PHOTOGRAPHS_BYTES, PHOTOGRAPH_BYTES = 2_400_000, 150_000
"""Room for all photographs of a paper, and the most that one of them takes."""


def _prints(book: Logbook, drawn: "Sequence[SheetPart]") -> dict[str, tuple[bytes, int, int]]:
    """Small copies of the photographs that are printed: all together in their room. A mail takes the paper then."""
    from throwbook.files.pictures import for_print

    wanted = [one.picture for part in drawn for found in part.photographs.values() for one in found.values()]
    most = min(PHOTOGRAPH_BYTES, PHOTOGRAPHS_BYTES // max(len(wanted), 1))
    kept = {digest: book.picture(digest) for digest in wanted}
    made = {digest: for_print(data, most) for digest, data in kept.items() if data is not None}
    return {digest: one for digest, one in made.items() if one is not None}


def _profiled(book: Logbook, part: "SheetPart", trial: str):  # type: ignore[no-untyped-def]
    judged = part.logged[trial].judgement
    assert judged is not None  # a throw on a sheet part has one
    return replace(judged.assessment, profile=book.profile(judged))


@dataclass(frozen=True)
class Issue:
    """How a paper leaves the computer."""

    folder: Path
    on: date
    """Day of issue: a paper never asks the clock."""
    paper: str = ""
    """``a4`` or ``letter``; empty: as the rig's units have it."""
    place: str = ""
    """Where the tests were done; like ``owner`` printed on reports only, the logbook doesn't hold it."""
    owner: str = ""


@dataclass(frozen=True)
class WrittenPaper:
    """A paper that was written."""

    number: str
    files: tuple[Path, ...]


def report_rig(logbook: str | Path | None, rig: str, issue: Issue) -> WrittenPaper:
    """The report of one rig as PDF and as HTML, both saying the same. Raises InputError for a rig that isn't there."""
    with _read(logbook, issue) as book:
        return report_rig_in(book, rig, issue)


def report_rig_in(book: Logbook, rig: str, issue: Issue) -> WrittenPaper:
    """The same of an open logbook."""
    from throwbook.report.report import rig_report

    material = material_in(book, rig, issue.on, place=issue.place, owner=issue.owner)
    return _write_both(rig_report(material), material, f"report-{file_name(rig)}", issue)


def report_sheet(logbook: str | Path | None, sheet: str, issue: Issue) -> WrittenPaper:
    """The report of one sheet as PDF and as HTML. Raises InputError for a sheet that isn't there."""
    with _read(logbook, issue) as book:
        return report_sheet_in(book, sheet, issue)


def report_sheet_in(book: Logbook, sheet: str, issue: Issue) -> WrittenPaper:
    """The same of an open logbook."""
    from throwbook.report.report import sheet_report

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
) -> WrittenPaper:
    """A blank sheet for ``rig`` as PDF. Raises InputError for a rig that isn't there."""
    from throwbook.core.sheets.sheet import plan_for
    from throwbook.report.forms import blank_sheet
    from throwbook.report.pdf import to_pdf

    source = _form_source(logbook, rig, kind, issue, voltage_v)
    document = blank_sheet(source, kind, plan_for(kind, source.rig, throws))
    sheet = write(
        issue.folder / f"blank-{kind}-{file_name(rig)}.pdf", to_pdf(document, size_of(issue, source.rig))
    )
    return WrittenPaper(document.number, (sheet,))


def card(logbook: str | Path | None, rig: str, issue: Issue, voltage_v: float | None = None) -> WrittenPaper:
    """The cab card of ``rig``, on one page of its paper and one of pocket size. Raises InputError for an unknown rig."""
    from throwbook.report.forms import cab_card
    from throwbook.report.pdf import to_one_page

    source = _form_source(logbook, rig, SPOT, issue, voltage_v)
    document = cab_card(source)
    stem = f"cab-card-{file_name(rig)}"
    page = write(issue.folder / f"{stem}.pdf", to_one_page(document, size_of(issue, source.rig)))
    pocket = write(issue.folder / f"{stem}-pocket.pdf", to_one_page(document, "pocket"))
    return WrittenPaper(document.number, (page, pocket))


def _read(logbook: str | Path | None, issue: Issue) -> "Logbook":
    """The logbook, opened to read; a paper that can't be printed on is refused before the work begins."""
    from throwbook.report.pdf_layout import paper_size

    if issue.paper:
        paper_size(issue.paper)
    return opened(logbook, read_only=True)


PAPER_OF = {METRIC: "a4", US: "letter"}


def size_of(issue: Issue, rig: Rig) -> str:
    """As asked for, else as it lies in the printer where the rig's units are used."""
    return issue.paper or PAPER_OF[rig.units]


def _write_both(document: "Document", material: "Material", stem: str, issue: Issue) -> WrittenPaper:
    from throwbook.report.html import to_html
    from throwbook.report.pdf import to_pdf
    from throwbook.report.report_charts import Drawings

    drawings = Drawings(material)
    pdf = write(
        issue.folder / f"{stem}.pdf", to_pdf(document, size_of(issue, material.rig), drawings.as_pdf_pages)
    )
    html = write(issue.folder / f"{stem}.html", to_html(document, drawings.as_svg).encode())
    return WrittenPaper(document.number, (pdf, html))


def write(path: Path, content: bytes) -> Path:
    """Write a file that appears whole or not at all. Raises OutsideError when the disk refuses."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutsideError(
            f"writing failed ({error.strerror})", str(path), CHECK_FOLDER, Remedy.OTHER_FOLDER
        ) from error
    with whole_file(path, remedy=Remedy.OTHER_FOLDER) as part:
        part.write_bytes(content)
    return path


def _form_source(
    logbook: str | Path | None, rig: str, kind: str, issue: Issue, voltage_v: float | None
) -> "FormSource":
    """``kind`` of the throws the paper is for: off the machine there is no load, so bench throws don't speak for others."""
    from throwbook import __version__
    from throwbook.core.trend.expected_throw import own_weather
    from throwbook.core.trend.history import history_from
    from throwbook.report.forms import FormSource

    with _read(logbook, issue) as book:
        found = rig_of(book, rig)
        stands = rig_status(book, rig, issue.on)
        baselines = {
            way: one.baseline
            for way in ("lock", "unlock")
            if (one := baseline_for(book, rig, way, kind)) is not None
        }
        history = history_from(rows_from_logbook(book, rig, book.trials(rig=rig)))
        happened, gaps = happened_in(book, found.name), gaps_in(book, found.name)
        steps = steps_said(book, found.name, stands.status)
        unproved = not_proved_in(book, found.name)
        switches = switches_fitted(book, found.name)
        weather = {way: shown for way in baselines if (shown := own_weather(history, way)) is not None}
    return FormSource(
        found,
        baselines,
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
        switches,
    )
