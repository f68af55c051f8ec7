"""Accepting a sheet: the one door, and it asks for the evidence that is stored, not for what is claimed."""

import tomllib
from collections.abc import Container, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from throwbook.core.assessment import METHOD_VERSION
from throwbook.core.quantities.text import written
from throwbook.core.records import (
    ACCEPTED,
    BENCH,
    BY_HAND,
    COMMISSIONING,
    FROM_TRACE,
    REJECTED,
    Decision,
    Judgement,
    LoggedTrial,
    Placement,
    RigRevision,
    Seal,
    Sheet,
    SheetState,
    Sighting,
    Trial,
    current,
    heads,
)
from throwbook.core.sheets.conditions import simulated_by
from throwbook.errors import InputError, Remedy
from throwbook.logbook.seals import SealStore
from throwbook.logbook.trials import TrialStore

if TYPE_CHECKING:
    from throwbook.core.rig import Rig
    from throwbook.core.sheets.acceptance import Acceptance
    from throwbook.core.sheets.sheet import FilledSheet, SheetTrial

GIVE_A_REASON = "Leave those throws out, or give the reason why it is accepted all the same."
ON_SHEET = "WHERE trial IN (SELECT trial FROM placement WHERE sheet = ?)"


class AcceptanceStore(TrialStore, SealStore):
    """Rows that a sheet is judged by."""

    def sightings(self, sheet: str) -> list[Sighting]:
        """Every sighting of the sheet's trials, the replaced ones too, oldest first."""
        return self.select(Sighting, f"{ON_SHEET} ORDER BY at, id", [sheet])

    def sightings_since(self, sheet: str) -> list[Sighting]:
        """Those that came after the sheet was decided and sealed, oldest first; none while it is open."""
        covers = {name for seal in self.select(Seal, "WHERE sheet = ?", [sheet]) for name in seal.covers}
        return [one for one in self.sightings(sheet) if covers and f"sighting:{one.id}" not in covers]

    def judged(
        self,
        sheet: str,
        rig: "Rig",
        signed: str = "",
        signed_at: datetime | None = None,
        shared_risk: bool = False,
    ) -> "Acceptance":
        """The sheet judged by all rows that count now; ``signed`` is the name about to be put on it, ``signed_at`` when.

        ``shared_risk``: whoever signs chose it; of a decided sheet what was chosen then counts.
        """
        from throwbook.core.sheets.acceptance import acceptance
        from throwbook.core.sheets.sheet import sheet_trials

        state = self.sheet(sheet)
        open_still = state.decision is None
        filled = self._filled(state, signed)
        filled = replace(
            filled,
            signed_at=signed_at,
            shared_risk=filled.shared_risk or shared_risk,
            moved_before=self._moved_before(state),
            same_readings_on=self._same_readings_on(state),
            rig_version=self.rig(state.sheet.rig).id if open_still else "",
        )
        seen, logged = self.sightings(sheet), self.trials(sheet=sheet)
        now, *earlier = (
            acceptance(filled, sheet_trials(trials), seen, rig)
            for trials in (logged, *self._judged_before(sheet, logged))
        )
        if all(one.ok for one in earlier):
            return now
        missing = dict.fromkeys(sentence for one in (now, *earlier) for sentence in one.missing)
        return replace(now, ok=False, missing=tuple(missing), statement="")

    def _judged_before(self, sheet: str, logged: "list[LoggedTrial]") -> "list[list[LoggedTrial]]":
        """The throws as earlier methods judged them on the same grounds (version of the rig, baseline, calibration); none: nothing did.

        Judged again by a later method a throw isn't eased: the worse counts.
        """
        older = {
            one.id: one.judgement.assessment.method_version
            for one in logged
            if one.judgement is not None and one.judgement.replaces
        }
        if not older:
            return []
        before = [
            one
            for one in self._judgements(ON_SHEET, [sheet])
            if one.trial in older and one.assessment.method_version != older[one.trial]
        ]
        found: dict[str, dict[str, LoggedTrial]] = {}
        for one in logged:
            now = one.judgement
            for judged in before:
                if now is not None and judged.trial == one.id and _grounds(judged) == _grounds(now):
                    by_method = found.setdefault(judged.assessment.method_version, {})
                    by_method[one.id] = replace(one, judgement=judged)
        return [[changed.get(one.id, one) for one in logged] for changed in found.values()]

    def _filled(self, state: SheetState, signed: str) -> "FilledSheet":
        """A sheet as the rules look at it, with what stands elsewhere in the logbook."""
        from throwbook.core.sheets.sheet import filled
        from throwbook.core.status.latch import answers_out_of_use

        sheet = filled(state, signed)
        commissioning = state.sheet.kind == COMMISSIONING
        return replace(
            sheet,
            practice=self.for_practice(),
            answers_out_of_use=bool(sheet.plan.answers)
            and answers_out_of_use(
                sheet.plan.answers, self.orders(state.sheet.rig), self.altered_orders(state.sheet.rig)
            ),
            bench=self._bench_throws(state.sheet.rig) if commissioning else (),
        )

    def _same_readings_on(self, state: SheetState) -> str:
        """Name of an earlier sheet of the rig on which all readings by hand of this one stand; empty: on none."""
        rows = self.read(
            "SELECT placement.sheet, trial.direction, trial.hand FROM trial JOIN placement ON placement.trial = trial.id"
            " JOIN sheet ON sheet.id = placement.sheet WHERE trial.rig = ? AND trial.hand NOT NULL AND sheet.at <= ?",
            [state.sheet.rig, state.sheet.at.isoformat()],
        )
        by_sheet: dict[str, list[tuple[str, str]]] = {}
        for sheet, direction, hand in rows:
            by_sheet.setdefault(sheet, []).append((direction, hand))
        mine = by_sheet.pop(state.sheet.id, [])
        if len(mine) < 2:
            return ""
        same = next((sheet for sheet, known in by_sheet.items() if set(mine) <= set(known)), "")
        return self.sheet(same).name if same else ""

    def _moved_before(self, state: SheetState) -> datetime | None:
        """When the rig's newest throw before the first dated one of the sheet started."""
        mine = self.read("SELECT trial FROM placement WHERE sheet = ?", [state.sheet.id])
        own = {row[0] for row in mine}
        starts = {
            row[0]: datetime.fromisoformat(row[1])
            for row in self.read(
                "SELECT id, started FROM trial WHERE started NOT NULL AND id IN"
                " (SELECT trial FROM placement WHERE sheet = ?)",
                [state.sheet.id],
            )
        }
        if not starts:
            return None
        first = min(starts.values())
        # Clocks with other offsets are up to a day apart as text.
        newest = self.read(
            "SELECT id, started FROM trial WHERE rig = ? AND started <= ? ORDER BY started DESC LIMIT ?",
            [state.sheet.rig, (first + timedelta(days=1)).isoformat(), len(own) + 200],
        )
        before = [datetime.fromisoformat(row[1]) for row in newest if row[0] not in own]
        return max((one for one in before if one <= first), default=None)

    def _bench_throws(self, rig: str) -> "tuple[tuple[SheetTrial, ...], ...]":
        """By sheet: bench throws of the actuator that the rig has now, those left out or thrown on the machine too apart."""
        from throwbook.core.sheets.sheet import sheet_trials

        sheets = self.read("SELECT id FROM sheet WHERE rig = ? AND kind = ?", [rig, BENCH])
        if not sheets:
            return ()
        versions = {row.id: actuator_in(row.toml) for row in self.select(RigRevision, "WHERE rig = ?", [rig])}
        now = actuator_in(self.rig(rig).toml)
        return tuple(
            tuple(
                one
                for one in sheet_trials(self.trials(sheet=row[0]))
                if not one.left_out
                and versions.get(one.rig_version, now) == now
                and self.kinds_of(one.id) == {BENCH}
            )
            for row in sheets
        )

    def newest_check(self, rig: str, kinds: Sequence[str], until: date) -> date | None:
        """The day of the newest throws that an accepted sheet of these kinds counts, not after ``until``; None: no such day.

        Throws typed in without a date are of the day their sheet was planned, at the earliest. A record without a date has
        no day: it may be years old and shows nothing of when the rig was checked.
        """
        dated = self._newest_day("substr(trial.started, 1, 10)", "trial.started NOT NULL", rig, kinds, until)
        typed = self._newest_day(
            "substr(sheet.at, 1, 10)",
            f"trial.started IS NULL AND trial.source = '{BY_HAND}'",
            rig,
            kinds,
            until,
        )
        return max((day for day in (dated, typed) if day is not None), default=None)

    def newest_check_planned(self, rig: str, kinds: Sequence[str], until: date) -> date | None:
        """The day on which the newest accepted sheet of these kinds was planned, whether its throws have a date or not."""
        return self._newest_day("substr(sheet.at, 1, 10)", "1", rig, kinds, until)

    def _newest_day(self, day: str, which: str, rig: str, kinds: Sequence[str], until: date) -> date | None:
        """The newest ``day`` of the throws that accepted sheets of these kinds count; ``which`` narrows the throws."""
        marks = ", ".join("?" for _ in kinds)
        # From the newest throw backwards, by the index of rig and day: a list of rigs asks this for each.
        rows = self.read(
            f"SELECT {day} FROM trial"
            " JOIN placement ON placement.trial = trial.id JOIN sheet ON sheet.id = placement.sheet"
            f" WHERE trial.rig = ? AND sheet.kind IN ({marks}) AND {which}"
            f" AND {day} <= ?"
            " AND EXISTS (SELECT 1 FROM decision WHERE decision.sheet = sheet.id AND outcome = ?)"
            " AND NOT EXISTS (SELECT 1 FROM decision WHERE decision.sheet = sheet.id AND outcome = ?)"
            " AND EXISTS (SELECT 1 FROM seal WHERE seal.sheet = sheet.id)"
            " AND NOT EXISTS (SELECT 1 FROM placement AS out"
            " WHERE out.trial = trial.id AND out.sheet = sheet.id AND out.left_out <> '')"
            f" ORDER BY {'trial.started' if 'started' in day else 'sheet.at'} DESC LIMIT 1",
            [rig, *kinds, until.isoformat(), ACCEPTED, REJECTED],
        )
        return date.fromisoformat(rows[0][0]) if rows else None

    def came_by_import(self, trial: str) -> bool:
        """Whether a throw came in from a file, and stands on no sheet that was ever accepted.

        Older versions didn't mark an import: there a record without a board and with the bare name of a file is one.
        """
        rows = self.select(Trial, "WHERE id = ?", [trial])
        places = [one for one in self.select(Placement, "WHERE trial = ?", [trial]) if not one.replaces]
        if not rows or rows[0].source != FROM_TRACE or not places:
            return False
        accepted = "SELECT 1 FROM decision WHERE outcome = ? AND sheet IN (SELECT sheet FROM placement WHERE trial = ?)"
        if self.read(accepted, [ACCEPTED, trial]):
            return False
        return all(_imported(place, self.sheet(place.sheet).sheet) for place in places)

    def rig_of_copy(self, trial: str) -> str:
        """The rig that a trial stands on; empty: there is no such trial."""
        rows = self.read("SELECT rig FROM trial WHERE id = ?", [trial])
        return str(rows[0][0]) if rows else ""

    def same_samples(self, one: str, other: str) -> bool:
        """Whether two trials are made of the same record."""
        rows = self.read("SELECT trace FROM trial WHERE id IN (?, ?) AND trace NOT NULL", [one, other])
        return len(rows) == 2 and rows[0][0] == rows[1][0]

    def shared_records(self, sheet: str | None = None) -> list[tuple[str, str, str]]:
        """Trials whose very record also counts on another rig: trial, its rig, the other rig; of one sheet or of all.

        A throw that a signed correction put down to another rig, or to none, counts no more. A record in which no current
        ever changed is passed over: two of those may well be alike.
        """
        where, values = ("", [])
        if sheet is not None:
            where = "AND trace IN (SELECT trace FROM trial WHERE id IN (SELECT trial FROM placement WHERE sheet = ?))"
            values = [sheet]
        rows = self.read(
            f"SELECT id, rig, trace FROM trial WHERE trace NOT NULL {where} AND trace IN"
            " (SELECT trace FROM trial WHERE trace NOT NULL GROUP BY trace HAVING count(DISTINCT rig) > 1)",
            values,
        )
        counting = [row for row in rows if not self.moved_away(row[0]) and self._changes(row[0])]
        mine = {row[0] for row in self.read("SELECT trial FROM placement WHERE sheet = ?", [sheet])}
        return [
            (row[0], row[1], other[1])
            for row in counting
            for other in counting
            if row[2] == other[2] and row[1] != other[1] and (sheet is None or row[0] in mine)
        ]

    def _changes(self, trial: str) -> bool:
        current_a = self.trace(trial).current_a
        return bool(current_a.max() > current_a.min())

    def moved_away(self, trial: str) -> bool:
        """Whether a signed correction put a throw down to another rig, or to none."""
        from throwbook.core.status.latch import REASSIGNED

        return bool(self.read("SELECT 1 FROM latch_order WHERE trial = ? AND cause = ?", [trial, REASSIGNED]))

    def refusal(self, found: "Acceptance", sheet: str, stays: str, most: int = 6) -> InputError:
        """What is missing, as one line, the same of several throws once; a long list ends with how many more there are."""
        from throwbook.core.sheets.acceptance import same_together
        from throwbook.core.sheets.sheet import sheet_trials

        missing = same_together(found.missing, sheet_trials(self.trials(sheet=sheet)))
        more = len(missing) - most
        tail = f"; and {more} more" if more > 0 else ""
        why = f"not accepted: {'; '.join(missing[:most])}{tail}"
        return InputError(
            why, f"sheet {self.sheet(sheet).name}", stays, Remedy.SHOW_MISSING if more > 0 else None
        )

    def accept(
        self,
        sheet: str,
        rig: "Rig",
        signed: str,
        by: str,
        now: datetime,
        cautions_read: bool = False,
        shared_risk: bool = False,
        doubts_because: str = "",
    ) -> Decision:
        """Accept and seal a sheet. Raises InputError that names what is missing, and then stores nothing.

        ``cautions_read``: the person said so when asked; in a pipe nothing is asked. ``shared_risk``: chosen by who signs.
        ``doubts_because``: why a sheet with doubtful times is accepted all the same.
        """
        with self.transaction():
            found = self.judged(sheet, rig, signed, now, shared_risk)
            if not found.ok:
                raise self.refusal(found, sheet, "It stays open; nothing was recorded.")
            if found.impossible and not written(doubts_because):
                why = f"not accepted: doubtful: {'; '.join(found.impossible)}"
                raise InputError(why, f"sheet {self.sheet(sheet).name}", GIVE_A_REASON)
            excused = (
                f" Accepted all the same because: {written(doubts_because)}." if found.impossible else ""
            )
            statement = {
                "statement": f"{found.statement}{excused}",
                "verdict": found.verdict,
                "because": list(found.because),
                "claims_lost": list(found.claims_lost),
                "cautions_read": cautions_read,
                "method": METHOD_VERSION,
                "not_proved": list(found.not_proved),
            }
            if shared_risk and found.shared_risk:
                statement["shared_risk"] = list(found.shared_risk)
            decision = self.supersede(Decision(sheet, ACCEPTED, signed, statement, now, by))
            self.seal_sheet(sheet, decision.id, now)
            return decision

    def holds(self, sheet: str, rig: "Rig", broken: Container[str]) -> bool:
        """Whether an accepted sheet still carries: nothing stands against it (``against``)."""
        return not self.against(sheet, rig, broken)

    def against(self, sheet: str, rig: "Rig", broken: Container[str]) -> tuple[str, ...]:
        """What stands against an accepted sheet, in sentences; none: it still carries.

        Its own seal is whole, nobody decided otherwise since, and the rows it was sealed with pass the rules of acceptance
        when these are gone through again; so do its throws as they were judged again since. The worse counts.
        ``broken`` are the ids of the rig's seals that no longer match (``broken_seals``).
        """
        from throwbook.core.sheets.acceptance import acceptance

        decided = heads(self.decisions(sheet))
        if not decided or any(one.outcome != ACCEPTED for one in decided):
            return ("it isn't accepted any more",)
        seals = self.select(Seal, "WHERE sheet = ?", [sheet])
        whole = [seal for seal in seals if seal.id not in broken]
        covers = {name for seal in whole for name in seal.covers}
        if not whole or not all(f"decision:{one.id}" in covers for one in decided):
            return ("its seal is broken",)
        if not all(written(one.signed) for one in decided):
            return ("nobody signed it",)
        seen = [one for one in self.sightings(sheet) if f"sighting:{one.id}" in covers]
        state = self._filled(self.sheet(sheet), decided[-1].signed)
        sealed = self._sealed_trials(sheet, covers)
        again = self._judged_again(sheet, sealed, covers)
        missing = [acceptance(state, trials, seen, rig).missing for trials in (sealed, *again)]
        return tuple(dict.fromkeys(sentence for found in missing for sentence in found))

    def _judged_again(
        self, sheet: str, sealed: "list[SheetTrial]", covers: set[str]
    ) -> "list[list[SheetTrial]]":
        """The sealed throws with what they were judged to be since, by the same version of the rig; none: nothing changed."""
        since = {
            one.id: one.judgement
            for one in self.trials(sheet=sheet)
            if one.judgement is not None and f"judgement:{one.judgement.id}" not in covers
        }
        fit = [one for one in sealed if one.id in since and since[one.id].rig_revision == one.rig_version]
        if not fit:
            return []
        again = {one.id: replace(one, assessment=since[one.id].assessment) for one in fit}
        return [[again.get(one.id, one) for one in sealed]]

    def _sealed_trials(self, sheet: str, covers: set[str]) -> "list[SheetTrial]":
        """The sheet's throws as they stood when it was sealed."""
        from throwbook.core.sheets.sheet import SheetTrial

        trials = {one.id: one for one in self.select(Trial, ON_SHEET.replace("trial IN", "id IN"), [sheet])}
        places = [
            one
            for one in self.select(Placement, "WHERE sheet = ?", [sheet])
            if f"placement:{one.id}" in covers
        ]
        judgements = [one for one in self._judgements(ON_SHEET, [sheet]) if f"judgement:{one.id}" in covers]
        found = []
        for place in heads(places):
            judgement: Judgement | None = current([one for one in judgements if one.trial == place.trial])
            if judgement is not None and f"trial:{place.trial}" in covers:
                trial = trials[place.trial]
                found.append(
                    SheetTrial(
                        place.trial,
                        place.position,
                        judgement.assessment,
                        trial.source == BY_HAND,
                        place.left_out,
                        place.as_found,
                        trial.started,
                        simulated_by(place.head),
                        judgement.rig_revision or "",
                        entered=place.at,
                    )
                )
        return found


def _imported(place: Placement, sheet: Sheet) -> bool:
    if sheet.plan.get("imported"):
        return place.at == sheet.at
    return "board" not in place.head and bool(PurePath(place.file).suffix) and "/" not in place.file


def _grounds(judged: Judgement) -> tuple[str | None, ...]:
    return judged.rig_revision, judged.baseline, judged.calibration


def actuator_in(toml: str) -> Any:
    """What a rig file says of the actuator; None where it can't be read."""
    try:
        return tomllib.loads(toml).get("actuator")
    except ValueError:
        return None
