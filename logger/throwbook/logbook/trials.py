"""Trials: their samples, placements on sheets, sightings and judgements, and which of them ask for an order."""

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from throwbook.core.assessment import EARLIER_METHODS, METHOD_VERSION
from throwbook.core.records import (
    BY_HAND,
    FROM_TRACE,
    SEEN,
    Details,
    Judgement,
    LoggedTrial,
    PinAnswers,
    Placement,
    RigRevision,
    Sighting,
    Trial,
    current,
    heads,
)
from throwbook.errors import InputError, OutsideError, Remedy
from throwbook.logbook.connection import damaged, unreadable_row
from throwbook.logbook.rigs import RigStore
from throwbook.logbook.schema import (
    BY_NAME,
    JSON,
    JUDGED_FAIL,
    SAID_NO_AT,
    SqlValue,
    from_sql,
    grouped,
    to_json,
    to_row,
    to_sql,
)
from throwbook.logbook.sheets import SheetStore
from throwbook.logbook.store import columns

if TYPE_CHECKING:
    from throwbook.core.assessment import Assessment, Profile
    from throwbook.core.trace import Trace


CUT_FROM = "cut_from"
"""Head key of a movement: SHA-256 of the samples of the whole record it was cut from."""
FILE_DIGEST = "file_sha256"
"""Head key of an imported throw: SHA-256 of its file, so that the file is known again unread."""


FAILED = f"SELECT trial FROM judgement WHERE {JUDGED_FAIL.sql}"
SAID_NO = f"SELECT trial FROM sighting WHERE {SAID_NO_AT.sql}"
"""By the two short indexes: no other row is read."""
LISTED = "(SELECT value FROM json_each(?))"
KINDS = f"SELECT DISTINCT trial, kind FROM placement JOIN sheet ON sheet.id = sheet WHERE trial IN {LISTED}"
FAILED_SIGNS = f"""
    SELECT judgement.trial, json_extract(assessment, '$.direction'), json_extract(assessment, sign.fullkey || '.sign')
    FROM judgement, json_each(iif(json_valid(assessment), assessment, 'null'), '$.signs') AS sign
    WHERE judgement.trial IN {LISTED} AND verdict = 'fail'
        AND json_extract(assessment, sign.fullkey || '.level') = 'fail'
"""
"""Signs at level fail of every judgement, the replaced ones too: judging again never takes back what was raised. A row that
can't be read names none, and ``check`` tells of it."""
EARLIER = " UNION ".join(
    f"SELECT trial FROM judgement WHERE method_version = '{one}'" for one in EARLIER_METHODS
)
JUDGED_EARLIER = f"""
    SELECT rig, id FROM trial WHERE id IN (
        SELECT trial FROM ({EARLIER}) EXCEPT
        SELECT trial FROM judgement WHERE replaces <> '[]' AND method_version = '{METHOD_VERSION}'
    )
"""
"""Word for word the conditions of the two short indexes of version 4."""


@dataclass(frozen=True)
class Asking:
    """A throw, and all that an order which takes its rig out of use can follow from."""

    trial: str
    rig: str
    direction: str
    kinds: tuple[str, ...]
    """Of every sheet it stands on."""
    failed_signs: tuple[tuple[str, str], ...]
    """Direction that it was judged in, and sign."""
    sightings: tuple[Sighting, ...]
    """Every revision."""


class TrialStore(RigStore, SheetStore):
    """Rows that belong to a trial."""

    def add_trial(
        self,
        sheet: str,
        thrown: "Trace | Trial",
        assessment: "Assessment",
        by: str,
        now: datetime,
        *,
        software_version: str,
        as_found: bool = False,
        baseline: str | None = None,
        calibration: str | None = None,
        ambient_c: float | None = None,
        file: str = "",
    ) -> LoggedTrial:
        """One trial onto a sheet with its first judgement, in one transaction.

        ``thrown`` is a trace, or a ``Trial`` of hand readings made by ``hand_trial``. A trial that the logbook already has is one and the same: it is placed, not doubled;
        on its own sheet again it stays as it was.
        """
        from throwbook.logbook import serialization

        with self.transaction():
            rig = self.read("SELECT rig FROM sheet WHERE id = ?", [sheet])[0][0]
            if isinstance(thrown, Trial):
                (trial, new), head = self.add_or_find(thrown), {}
            else:
                recorded = recorded_trial(rig, thrown)
                self.db.execute(
                    "INSERT INTO trace (digest, samples, data) VALUES (?, ?, ?) ON CONFLICT (digest) DO NOTHING",
                    [recorded.trace, len(thrown), serialization.encode(serialization.columns(thrown))],
                )
                (trial, new), head = self.add_or_find(recorded), dict(thrown.head)
                ambient_c = thrown.ambient_c if ambient_c is None else ambient_c
                file = file or thrown.source
            # "+sheet": looked up by the trial, which stands on few sheets; a sheet may hold thousands of trials
            on_it = "SELECT 1 FROM placement WHERE trial = ? AND +sheet = ?"
            if not new and self.read(on_it, [trial.id, sheet]):
                return next(logged for logged in self.trials(sheet=sheet) if logged.id == trial.id)
            counted = "SELECT count(DISTINCT trial) + 1 FROM placement WHERE sheet = ?"
            position = self.read(counted, [sheet])[0][0]
            placement = self.place(
                Placement(trial.id, sheet, position, now, by, as_found, "", ambient_c, file, head)
            )
            known = () if new else self.head_ids(Judgement, trial.id)
            judged = Judgement(trial.id, assessment, software_version, now, by, "", baseline, calibration)
            judgement = self._add_judgement(rig, replace(judged, replaces=known))
            return LoggedTrial(trial, placement, judgement, None)

    def identity(self, rig: str, trace: "Trace") -> str:
        """The id that the trial of this trace has, in any logbook."""
        return str(to_row(BY_NAME["trial"], recorded_trial(rig, trace), {})["id"])

    def with_samples_of(self, rig: str, trace: "Trace") -> list[str]:
        """Trials of this rig made of the very same samples, whatever date or direction they go by.

        None for a record in which no current ever changed: two of those may well be alike.
        """
        return [trial for trial, whose in self._with_samples(trace) if whose == rig]

    def on_other_rigs(self, rig: str, trace: "Trace") -> list[tuple[str, str]]:
        """The same of other rigs: each trial with the rig it stands on."""
        return [(trial, whose) for trial, whose in self._with_samples(trace) if whose != rig]

    def _with_samples(self, trace: "Trace") -> list[tuple[str, str]]:
        if not trace.current_a.max() > trace.current_a.min():
            return []
        digest = samples_digest(trace)
        if not self.read("SELECT 1 FROM trace WHERE digest = ?", [digest]):  # by its key; trials are many
            return []
        rows = self.read("SELECT id, rig FROM trial WHERE trace = ? ORDER BY rig, id", [digest])
        return [(row[0], row[1]) for row in rows]

    def made_of(self, rig: str, trace: "Trace") -> list[str]:
        """Trials of this rig made of this very record: of its samples as they are, or movements cut from it."""
        cut = self.cut_records(rig).get(samples_digest(trace))
        return [*self.with_samples_of(rig, trace), *([cut] if cut else [])]

    def cut_records(self, rig: str) -> dict[str, str]:
        """Of each record that movements of this rig were cut from: the digest of its samples, and one of those trials.

        By what their heads say, so that a record is known again even where a later version would cut it elsewhere.
        """
        rows = self.read(
            "SELECT trial.id, head FROM placement JOIN trial ON trial.id = placement.trial WHERE rig = ? AND instr(head, ?)",
            [rig, f'"{CUT_FROM}":'],
        )
        heads = {row[0]: from_sql("json", row[1]) for row in rows}
        return {str(head[CUT_FROM]): trial for trial, head in heads.items() if CUT_FROM in head}

    def files_taken(self, kind: str) -> dict[str, str]:
        """Files whose throws need no second look: SHA-256 of each, and a sheet they stand on.

        A file that stands on bench sheets alone is one only where another bench sheet is asked for.
        """
        rows = self.read(
            f"SELECT json_extract(head, '$.{FILE_DIGEST}'), rig || '-' || number FROM placement"
            " JOIN sheet ON sheet.id = placement.sheet WHERE instr(head, ?) AND (kind <> 'bench' OR ?)",
            [f'"{FILE_DIGEST}":', int(kind == "bench")],
        )
        return {row[0]: row[1] for row in rows}

    def started_as(self, rig: str, started: datetime, file: str) -> list[str]:
        """Sheets with a throw of this rig that started at this moment and came from a file of this name."""
        rows = self.read(
            "SELECT trial.id FROM trial JOIN placement ON placement.trial = trial.id"
            " WHERE rig = ? AND started = ? AND (file = ? OR substr(file, 1, length(?) + 1) = ? || '#')",
            [rig, to_sql("time", started), file, file, file],
        )
        return sorted({name for row in rows for name in self.sheets_of(row[0])})

    def whole_record_of(self, rig: str, trace: "Trace") -> list[str]:
        """Trials of this rig that hold the whole record that this movement was cut from, as earlier versions kept it."""
        digest = trace.head.get(CUT_FROM)
        if not isinstance(digest, str):
            return []
        return [
            row[0] for row in self.read("SELECT id FROM trial WHERE rig = ? AND trace = ?", [rig, digest])
        ]

    def has_trial(self, trial: str) -> bool:
        """Whether the logbook holds this trial."""
        return bool(self.read("SELECT 1 FROM trial WHERE id = ?", [trial]))

    def newest_start(self, rig: str) -> datetime | None:
        """When the rig's newest throw started, whatever the offsets of the clocks."""
        rows = self.read("SELECT started FROM trial WHERE rig = ? AND started NOT NULL", [rig])
        return max((datetime.fromisoformat(row[0]) for row in rows), default=None)

    def sheets_of(self, trial: str) -> list[str]:
        """Short names of the sheets a trial stands on."""
        rows = self.read("SELECT DISTINCT sheet FROM placement WHERE trial = ?", [trial])
        return sorted(self.sheet(row[0]).name for row in rows)

    def kinds_of(self, trial: str) -> set[str]:
        """Kinds of the sheets a trial stands on."""
        rows = self.read(
            "SELECT DISTINCT kind FROM placement JOIN sheet ON sheet.id = sheet WHERE trial = ?", [trial]
        )
        return {row[0] for row in rows}

    def placements_now(self, trial: str) -> list[Placement]:
        """Where a trial stands now: one placement for each sheet, or more after a merge."""
        return heads(self.select(Placement, "WHERE trial = ?", [trial]))

    def leave_out(
        self, place: Placement, why: str, by: str, now: datetime, reason: str | None = None
    ) -> Placement:
        """Have a trial no longer count where it stands; ``reason`` None: as it was placed."""
        reason = place.reason if reason is None else reason
        return self.add(
            replace(place, id="", left_out=why, reason=reason, by=by, at=now, replaces=(place.id,))
        )

    def place(self, placement: Placement) -> Placement:
        """Put a trial on a sheet, or correct how it stands there (``replaces``)."""
        return self.add(placement)

    def judge(
        self,
        trial: str,
        assessment: "Assessment",
        by: str,
        now: datetime,
        software_version: str,
        baseline: str | None = None,
        reason: str = "",
        calibration: str | None = None,
        rig_revision: str | None = None,
    ) -> Judgement:
        """A judgement; a later one stands for the earlier ones, which stay.

        ``rig_revision``: the version of the rig it was made by; None: the one that counts now.
        """
        with self.transaction():
            [[rig]] = self.read("SELECT rig FROM trial WHERE id = ?", [trial])
            known = self.head_ids(Judgement, trial)
            return self._add_judgement(
                rig,
                Judgement(
                    trial,
                    assessment,
                    software_version,
                    now,
                    by,
                    rig_revision or "",
                    baseline,
                    calibration,
                    reason,
                    known,
                ),
            )

    def sight(self, trial: str, pins: PinAnswers, by: str, now: datetime, reason: str = "") -> Sighting:
        """What a person saw of the pins; a later sighting replaces the earlier ones, which stay.

        Whether it also outweighs them is for ``core.sheets.sheet.seen_at`` to say: a "no" is corrected only with a reason.
        """
        answers = {name: getattr(pins, name) for name in SEEN}
        return self.supersede(Sighting(trial, how=pins.how, at=now, by=by, reason=reason, **answers))

    def trials(self, rig: str | None = None, sheet: str | None = None) -> list[LoggedTrial]:
        """Trials with the rows that count now, in the order thrown; no samples are unpacked.

        By ``rig`` each trial comes once, with the placement that counts; by ``sheet`` with its place there.
        """
        if (rig is None) == (sheet is None):
            raise ValueError("give a rig or a sheet")
        inside = (
            "(SELECT id FROM trial WHERE rig = ?)"
            if sheet is None
            else "(SELECT trial FROM placement WHERE sheet = ?)"
        )
        values: list[SqlValue] = [rig if sheet is None else sheet]
        trials = self.select(Trial, f"WHERE id IN {inside}", values)
        where = f"WHERE trial IN {inside}"
        placements = grouped((row.trial, row) for row in self.select(Placement, where, values))
        sightings = grouped((row.trial, row) for row in self.select(Sighting, where, values))
        judgements = grouped((row.trial, row) for row in self._judgements(where, values))
        found = []
        for trial in trials:
            places = heads(placements.get(trial.id, []))
            here = [place for place in places if sheet in (None, place.sheet)]
            found.append(
                LoggedTrial(
                    trial,
                    current(here),
                    current(judgements.get(trial.id, [])),
                    current(sightings.get(trial.id, [])),
                )
            )
        return sorted(found, key=_order)

    def revisions(self, trial: str) -> tuple[list[Placement], list[Sighting], list[Judgement]]:
        """Every placement, sighting and judgement of one trial, oldest first."""
        where = "WHERE trial = ? ORDER BY at, id"
        return (
            self.select(Placement, where, [trial]),
            self.select(Sighting, where, [trial]),
            self._judgements(where, [trial]),
        )

    def judgements(self, rig: str) -> list[Judgement]:
        """Every judgement of a rig's trials, later revisions too, oldest first."""
        return self._judgements("WHERE trial IN (SELECT id FROM trial WHERE rig = ?) ORDER BY at, id", [rig])

    def profile(self, judgement: Judgement) -> "Profile | None":
        """The profile that a judgement was made with."""
        from throwbook.logbook.serialization import DAMAGE, profile_from_blob

        rows = self.read(
            "SELECT profile, assessment FROM judgement WHERE trial = ? AND id = ?",
            [judgement.trial, judgement.id],
        )
        if not rows or rows[0][0] is None:
            return None
        try:
            return profile_from_blob(rows[0][0], from_sql("json", rows[0][1])["profile_place_u"])
        except DAMAGE as error:
            raise damaged(self.path) from error

    def trace(self, trial: str) -> "Trace":
        """The recorded samples of a trial, exactly as they came in. Raises InputError for one entered by hand."""
        from throwbook.core.trace import Trace
        from throwbook.logbook import serialization

        found = self.select(Trial, "WHERE id = ?", [trial])
        if not found or found[0].trace is None:
            raise InputError(
                "this throw has no recorded samples", trial, "It was entered by hand, or it is not here."
            )
        row = self.read("SELECT data FROM trace WHERE digest = ?", [found[0].trace])
        try:
            named = serialization.decode(row[0][0])
        except serialization.DAMAGE as error:
            raise OutsideError(
                f"the samples of throw {trial[:8]} are damaged", str(self.path), remedy=Remedy.CHECK_LOGBOOK
            ) from error
        place = current(self.select(Placement, "WHERE trial = ?", [trial]))
        trace = Trace(
            named["time_s"],
            named["current_a"],
            named.get("voltage_v"),
            found[0].direction,
            found[0].rig,
            found[0].started,
            place.ambient_c if place else None,
            place.head if place else {},
            place.file if place else "",
        )
        return trace.with_columns(named)

    def asking(self, rig: str | None = None) -> list[Asking]:
        """Throws that were ever judged "fail" or answered with a "no", of one rig or of all; the others aren't read."""
        # "+rig": these are few, so it starts from them and not from all throws of the rig
        of_rig, values = ("", []) if rig is None else ("AND +rig = ?", [rig])
        trials = self.read(
            f"SELECT id, rig, direction FROM trial WHERE id IN ({FAILED} UNION {SAID_NO}) {of_rig}", values
        )
        if not trials:
            return []
        listed = [json.dumps([row[0] for row in trials])]
        kinds = grouped(self.read(KINDS, listed))
        signs = grouped((row[0], (row[1], row[2])) for row in self.read(FAILED_SIGNS, listed))
        seen = grouped((one.trial, one) for one in self.select(Sighting, f"WHERE trial IN {LISTED}", listed))
        return [
            Asking(trial, whose, direction, tuple(kinds[trial]), tuple(signs[trial]), tuple(seen[trial]))
            for trial, whose, direction in trials
        ]

    def judged_earlier(self, rig: str | None = None) -> dict[str, list[str]]:
        """By rig: throws that an earlier method judged and this one didn't yet, of one rig or of all."""
        of_rig, values = ("", []) if rig is None else ("AND +rig = ?", [rig])
        return grouped(self.read(f"{JUDGED_EARLIER} {of_rig}", values))

    def _add_judgement(self, rig: str, judgement: Judgement) -> Judgement:
        """A judgement; where it names no version of the rig it was made by the one that counts now."""
        from throwbook.logbook.serialization import assessment_to_json, profile_blob

        if not judgement.rig_revision:
            revisions = self.head_ids(RigRevision, rig)
            revision = revisions[0] if len(revisions) == 1 else self.rig(rig).id
            judgement = replace(judgement, rig_revision=revision)
        assessment = judgement.assessment
        return self.add(
            judgement,
            verdict=assessment.verdict,
            method_version=assessment.method_version,
            assessment=to_json(assessment_to_json(assessment)),
            profile=profile_blob(assessment.profile),
        )

    def _judgements(self, where: str, values: Sequence[SqlValue]) -> list[Judgement]:
        """Judgements without their profiles."""
        table = BY_NAME["judgement"]
        kept = [name for name in table.columns if name not in ("verdict", "profile", "method_version")]
        rows = self.read(f"SELECT {columns(table, kept)} FROM judgement {where}", values)
        found = []
        for row in rows:
            try:
                parts: dict[str, Any] = {
                    name: _assessment(value) if name == "assessment" else from_sql(table.columns[name], value)
                    for name, value in zip(kept, row[1:], strict=True)
                }
            except (ValueError, TypeError, KeyError, AttributeError) as error:
                raise unreadable_row(self.path, table.name, row[0]) from error
            found.append(Judgement(id=row[0], **parts))
        return found


@lru_cache(maxsize=1000)
def _assessment(text: SqlValue) -> "Assessment":
    """A command reads the rows of a sheet again after every throw it adds; what they say of a throw never changes."""
    from throwbook.logbook.serialization import assessment_from_json

    return assessment_from_json(from_sql(JSON, text))


def samples_digest(trace: "Trace") -> str:
    """SHA-256 of a trace's samples, by which the logbook knows them again."""
    from throwbook.logbook import serialization

    return serialization.digest(serialization.columns(trace))


def recorded_trial(rig: str, trace: "Trace") -> Trial:
    """The trial of a trace; the same samples of the same rig, direction and time are one and the same."""
    return Trial(rig, trace.direction, FROM_TRACE, trace.started, samples_digest(trace))


def hand_trial(rig: str, direction: str, started: datetime | None, readings: Details) -> Trial:
    """A trial measured by hand, ready for ``add_trial``; two with the same readings are still two."""
    return Trial(rig, direction, BY_HAND, started, None, readings, os.urandom(8).hex())


def _order(logged: LoggedTrial) -> tuple[Any, ...]:
    place = logged.placement
    when = logged.when
    return (when is None, when and when.timestamp(), place.position if place else 0, logged.id)
