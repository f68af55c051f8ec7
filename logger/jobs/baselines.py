"""Which baseline a trial is judged against: the frozen one, or a provisional one from the rig's first sheet."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from logger.core.records.records import BENCH, COMMISSIONING, BaselineRecord, LoggedTrial, SheetState
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.assessment import Assessment
    from logger.core.sheets.baseline_choice import ChoiceSheet
    from logger.core.stroke.baseline import Baseline


@dataclass(frozen=True, eq=False)
class Held:
    """A baseline and the row it comes from."""

    baseline: "Baseline"
    record: BaselineRecord | None
    """None: provisional, drawn from the first bench or commissioning sheet."""


def baseline_for(book: Logbook, rig: str, direction: str, kind: str = "") -> Held | None:
    """The newest frozen baseline of this direction, or a provisional one, or None before there is any healthy throw.

    ``kind`` of the sheet to be judged: off the machine there is no load, so a bench throw is held against bench throws
    only, and any other throw never against those. Empty: whatever there is.
    """
    frozen = book.baselines(rig, direction) if kind != BENCH else []
    if frozen:
        from logger.logbook.baseline_json import from_json_value

        return Held(from_json_value(frozen[-1].body), frozen[-1])
    kinds = {"": (BENCH, COMMISSIONING), BENCH: (BENCH,)}.get(kind, (COMMISSIONING,))
    provisional = _provisional(book, rig, direction, kinds)
    return Held(provisional, None) if provisional is not None else None


def baselines_for(book: Logbook, rig: str, kind: str = "") -> dict[str, Held]:
    """Those of ``baseline_for`` by direction; a direction without one isn't there."""
    from logger.core.trace import DIRECTIONS

    held = {direction: baseline_for(book, rig, direction, kind) for direction in DIRECTIONS}
    return {direction: found for direction, found in held.items() if found is not None}


def baselines_of(held: Mapping[str, Held]) -> "dict[str, Baseline]":
    """The baselines alone, by direction."""
    return {direction: found.baseline for direction, found in held.items()}


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
    from logger.core.stroke.baseline import make_baseline
    from logger.logbook.baseline_json import to_json_value

    listed = {logged.id: logged for logged in trials}
    found = []
    with book.transaction():
        for direction in sorted({logged.direction for logged in listed.values()}):
            sheets = {logged.placement.sheet for logged in listed.values() if logged.placement}
            chosen = _chosen(book, [book.sheet(sheet) for sheet in sorted(sheets)], direction, listed)
            if not chosen:
                continue
            baseline = make_baseline([_whole(book, logged) for logged in chosen], reason)
            ids = tuple(logged.id for logged in chosen)
            body = to_json_value(baseline)
            found.append(
                book.add_baseline(BaselineRecord(rig, direction, ids, body, now, by, reason, service))
            )
    return found


def _provisional(book: Logbook, rig: str, direction: str, kinds: tuple[str, ...]) -> "Baseline | None":
    """From the rig's own sheets of these kinds, where nothing is frozen yet."""
    from logger.core.sheets.baseline_choice import choose
    from logger.core.stroke.baseline import make_baseline

    held: dict[str, LoggedTrial] = {}
    sheets = []
    for state in book.sheets(rig):
        if state.sheet.kind in kinds:
            logged = book.trials(sheet=state.sheet.id)
            held |= {one.id: one for one in logged}
            sheets.append(_choice_sheet(state, logged))
    choice = choose(sheets, direction)
    if not choice.trials:
        return None
    whole = [_whole(book, held[one.id]) for one in choice.trials]
    return make_baseline(whole, choice.reason, provisional=choice.provisional)


def _chosen(
    book: Logbook, states: Iterable[SheetState], direction: str, among: Mapping[str, LoggedTrial]
) -> list[LoggedTrial]:
    """Trials of these sheets that a baseline may be made from."""
    from logger.core.sheets.baseline_choice import choose_from

    found = []
    for state in states:
        sheet = _choice_sheet(state, book.trials(sheet=state.sheet.id))
        choice = choose_from(sheet, direction, provisional=False)
        found += [among[one.id] for one in choice.trials if one.id in among]
    return found


def _choice_sheet(state: SheetState, logged: Iterable[LoggedTrial]) -> "ChoiceSheet":
    from logger.core.sheets.baseline_choice import ChoiceSheet
    from logger.core.sheets.sheet import filled, sheet_trials

    return ChoiceSheet(state.name, state.state, filled(state), sheet_trials(logged))


def _whole(book: Logbook, logged: LoggedTrial) -> "Assessment":
    """The assessment with its profile."""
    assert logged.judgement is not None  # a trial without one isn't chosen
    return replace(logged.judgement.assessment, profile=book.profile(logged.judgement))
