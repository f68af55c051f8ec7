"""Everything a report rests on, read from the logbook."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from logger.core.records.records import FROM_TRACE, Calibration, LoggedTrial, SheetState
from logger.jobs.baselines import baseline_for
from logger.jobs.latch import standing
from logger.jobs.rig_events import gaps_in, happened_in
from logger.jobs.rig_of import rig_for_sheet, rig_of
from logger.jobs.trend import trend_in
from logger.jobs.way_back import steps_said
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.stroke.baseline import Baseline
    from logger.report.material import Material, SheetPart


def material_in(
    book: Logbook, rig: str, issued: date, *, sheet: str | None = None, place: str = "", owner: str = ""
) -> "Material":
    """What a report of ``rig`` is made from; with ``sheet``, of that sheet only (its records are then drawn).

    Without a sheet the records of the commissioning sheet and of the newest one are drawn.
    """
    from logger import __version__
    from logger.core.assessment import METHOD_VERSION
    from logger.core.standing.service import entry_from
    from logger.report.material import Material

    states = [book.sheet(sheet)] if sheet is not None else book.sheets(rig)
    parts = sorted((_part(book, state) for state in states), key=lambda one: (one.day, one.state.sheet.at))
    stands = standing(book, rig, issued)
    seasons = trend_in(book, rig, issued, profiles=sheet is None)
    held = {
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
        baselines=held,
        baseline_records=tuple(book.baselines(rig)),
        calibrations=tuple(_calibrations(book, parts)),
        trends=seasons.trends,
        spot_heights=seasons.heights,
        spots=tuple(one.sentence for one in seasons.spots),
        season_notes=seasons.history.notes,
        happened=happened_in(book, rig),
        gaps=gaps_in(book, rig),
        next_action=f"{seasons.action.what}, because {seasons.action.why}" if seasons.trends else "",
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
    from logger.logbook.baseline_json import from_json_value

    if sheet is not None:
        judged = {
            one.judgement.baseline
            for part in parts
            for one in part.logged.values()
            if one.judgement is not None
        }
        used = [row for row in book.baselines(rig, direction) if row.id in judged]
        if used:
            return from_json_value(used[-1].body)
    held = baseline_for(book, rig, direction)
    return None if held is None else held.baseline


def _part(book: Logbook, state: SheetState) -> "SheetPart":
    from logger.core.sheets.acceptance import acceptance
    from logger.core.sheets.sheet import filled, plan_from, seen_at, sheet_trials
    from logger.core.sheets.taken_back import no_since
    from logger.report.material import SheetPart

    logged = book.trials(sheet=state.sheet.id)
    trials = sheet_trials(logged)
    sightings = book.sightings(state.sheet.id)
    rig = rig_for_sheet(book, state)
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
        rejudged=tuple(_rejudged(book, logged)),
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
    for part in drawn:
        for one in part.logged.values():
            if one.trial.source == FROM_TRACE:
                traces[one.id] = book.trace(one.id)
        whole[part.name] = replace(
            part, trials=tuple(replace(one, assessment=_profiled(book, part, one.id)) for one in part.trials)
        )
    return replace(made, sheets=tuple(whole.get(part.name, part) for part in made.sheets), traces=traces)


def _profiled(book: Logbook, part: "SheetPart", trial: str):  # type: ignore[no-untyped-def]
    judged = part.logged[trial].judgement
    assert judged is not None  # a throw on a sheet part has one
    return replace(judged.assessment, profile=book.profile(judged))
