"""Test sheets as they are shown: one with all that is on it, or a list."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.records.records import OPEN, SheetState
from logger.core.rig import METRIC
from logger.core.sheets.sheet import Plan, Seen, SheetTrial, plan_from, seen_at, sheet_trials
from logger.core.sheets.taken_back import no_since, said_since, taken_back
from logger.core.standing.status import Status
from logger.jobs import latch
from logger.jobs.logbooks import opened
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.sheets.acceptance import Acceptance


@dataclass(frozen=True)
class SheetView:
    """A sheet as it is shown."""

    state: SheetState
    plan: Plan
    trials: tuple[SheetTrial, ...]
    seen: Mapping[str, Seen]
    """By trial."""
    acceptance: "Acceptance"
    status: Status
    taken_back: tuple[str, ...] = ()
    """A "no" that was corrected: one sentence a throw."""
    said_since: tuple[str, ...] = ()
    """A "no" that came after the sheet was decided: one sentence each."""
    commissioned: bool = False
    """The rig has an accepted commissioning sheet: its trend has begun."""
    rig_changed: bool = False
    """The rig's values changed after throws of this open sheet were judged: it takes judging again."""
    units: str = METRIC
    """How the rig's values are shown."""


def view(logbook: str | Path | None, sheet: str) -> SheetView:
    """One sheet with its throws, what was seen, and what an acceptance would say."""
    with opened(logbook, read_only=True) as book:
        return view_in(book, book.sheet(sheet))


def view_in(book: Logbook, state: SheetState) -> SheetView:
    """The same in an open logbook."""
    from logger.jobs.rig_of import rig_for_sheet

    trials = sheet_trials(book.trials(sheet=state.sheet.id))
    rig = rig_for_sheet(book, state)
    version = book.rig(state.sheet.rig).id
    sightings = book.sightings(state.sheet.id)
    return SheetView(
        state,
        plan_from(state.sheet.plan),
        trials,
        {one.id: seen_at(one.id, sightings) for one in trials},
        book.judged(state.sheet.id, rig),
        latch.status(book, state.sheet.rig),
        taken_back(trials, sightings),
        said_since(trials, book.sightings_since(state.sheet.id)),
        commissioned=book.commissioned(state.sheet.rig),
        rig_changed=state.state == OPEN and any(one.rig_version not in ("", version) for one in trials),
        units=rig.units,
    )


def listed(logbook: str | Path | None, rig: str | None) -> list[tuple[SheetState, int, int, bool]]:
    """Sheets, oldest first, each with its lock and unlock throws, and whether a "no" came after it was decided."""
    with opened(logbook, read_only=True) as book:
        if rig is not None:
            book.rig(rig)
        found = []
        for state in book.sheets(rig):
            ways = [one.direction for one in book.trials(sheet=state.sheet.id)]
            no_came = no_since(book.sightings_since(state.sheet.id))
            found.append((state, ways.count("lock"), ways.count("unlock"), no_came))
        return found
