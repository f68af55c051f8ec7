"""Sheets: planned, answered, decided."""

import hashlib
import os
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from throwbook.core.records import (
    ACCEPTED,
    COMMISSIONING,
    REJECTED,
    Answers,
    Decision,
    Details,
    Photograph,
    Sheet,
    SheetState,
    current,
    heads,
    nothing,
)
from throwbook.errors import InputError, Remedy
from throwbook.logbook.schema import grouped
from throwbook.logbook.store import Store


class SheetStore(Store):
    """Rows that belong to a sheet."""

    def plan_sheet(self, rig: str, kind: str, plan: Details, by: str, now: datetime) -> Sheet:
        """A new open sheet with the rig's next number."""
        with self.transaction():
            last = self.read("SELECT coalesce(max(number), 0) FROM sheet WHERE rig = ?", [rig])[0][0]
            return self.add(Sheet(rig, kind, last + 1, now, by, plan, os.urandom(8).hex()))

    def sheets(self, rig: str | None = None) -> list[SheetState]:
        """Sheets of a rig, or of all of them, by the day of their throws, whenever they were typed in."""
        where, values = ("WHERE rig = ?", [rig]) if rig is not None else ("", [])
        return self._states(self.select(Sheet, where, values), rig)

    def sheet(self, name_or_id: str) -> SheetState:
        """One sheet by its short name or its id (or the start of it). Raises InputError when none or several fit."""
        rig, _, number = name_or_id.rpartition("-")
        number, _, start = number.partition(".")
        found: list[Sheet] = []
        if rig and number.isdecimal():
            found = self.select(
                Sheet, "WHERE rig = ? AND number = ? AND id GLOB ?", [rig, int(number), f"{start}*"]
            )
        if not found and len(name_or_id) >= 6 and name_or_id.isalnum():
            found = self.select(Sheet, "WHERE id GLOB ?", [f"{name_or_id}*"])
        if len(found) == 1:
            return self._states(found, found[0].rig, found[0].id)[0]
        if found:
            names = ", ".join(state.name for state in self._states(found, found[0].rig))
            raise InputError(
                f"more than one sheet is called '{name_or_id}'", str(self.path), f"Say which: {names}."
            )
        raise InputError(
            f"no sheet '{name_or_id}' in this logbook",
            str(self.path),
            remedy=Remedy.LIST_SHEETS,
        )

    def commissioned(self, rig: str) -> bool:
        """Whether an accepted commissioning sheet stands; without opening the rig's other sheets."""
        rows = self.select(
            Decision,
            "WHERE sheet IN (SELECT id FROM sheet WHERE rig = ? AND kind = ?)",
            [rig, COMMISSIONING],
        )
        decisions = [current(decided) for decided in grouped((row.sheet, row) for row in rows).values()]
        return any(one is not None and one.outcome == ACCEPTED for one in decisions)

    def answer(self, sheet: str, answers: Details, by: str, now: datetime, reason: str = "") -> Answers:
        """What was asked on the sheet; stands for the earlier answers."""
        return self.supersede(Answers(sheet, answers, now, by, reason))

    def answers(self, sheet: str) -> list[Answers]:
        """Every revision of a sheet's answers, oldest first."""
        return self.select(Answers, "WHERE sheet = ? ORDER BY at, id", [sheet])

    def decide(
        self,
        sheet: str,
        outcome: str,
        signed: str,
        statement: Details,
        by: str,
        now: datetime,
        reason: str = "",
    ) -> Decision:
        """A sheet that was rejected. Accepting one is ``accept``'s business alone: it looks at the evidence."""
        if outcome != REJECTED:
            raise ValueError("a sheet is accepted through Logbook.accept, which checks its evidence")
        return self.supersede(Decision(sheet, outcome, signed, statement, now, by, reason))

    def decisions(self, sheet: str) -> list[Decision]:
        """Every decision on a sheet, oldest first."""
        return self.select(Decision, "WHERE sheet = ? ORDER BY at, id", [sheet])

    def add_photograph(self, photograph: Photograph, data: bytes) -> Photograph:
        """A photograph with the bytes of its stored copy; it stands for the earlier ones of this pin, which stay."""
        with self.transaction():
            earlier = self.select(
                Photograph, "WHERE trial = ? AND pin = ?", [photograph.trial, photograph.pin]
            )
            self.db.execute(
                "INSERT INTO picture (digest, data) VALUES (?, ?) ON CONFLICT (digest) DO NOTHING",
                [photograph.picture, data],
            )
            return self.add(replace(photograph, replaces=tuple(one.id for one in heads(earlier))))

    def photographs(self, sheet: str = "", rig: str = "") -> list[Photograph]:
        """Every photograph of the throws of a sheet or a rig, the replaced ones too, oldest first."""
        inside = (
            "SELECT trial FROM placement WHERE sheet = ?" if sheet else "SELECT id FROM trial WHERE rig = ?"
        )
        return self.select(Photograph, f"WHERE trial IN ({inside}) ORDER BY at, id", [sheet or rig])

    def picture(self, digest: str) -> bytes | None:
        """The stored copy of a photograph; None: it is gone, or isn't any more what was stored."""
        rows = self.read("SELECT data FROM picture WHERE digest = ?", [digest])
        return rows[0][0] if rows and hashlib.sha256(rows[0][0]).hexdigest() == digest else None

    def _states(self, sheets: list[Sheet], rig: str | None, only: str | None = None) -> list[SheetState]:
        """Sheets with their current rows, read at once: for all of them, for a rig's, or for the ``only`` one."""
        values = [rig] if rig is not None else []
        condition = "WHERE rig = ?" if rig is not None else ""
        inside, seals, asked = "", condition, values
        if only is not None:
            inside, seals, asked = "WHERE sheet = ?", "WHERE sheet = ?", [only]
        elif rig is not None:
            inside = "JOIN sheet s ON s.id = {table}.sheet WHERE s.rig = ?"
        answered = self.select(Answers, inside.format(table="answers"), asked)
        decided = self.select(Decision, inside.format(table="decision"), asked)
        answers = grouped((row.sheet, row) for row in answered)
        decisions = grouped((row.sheet, row) for row in decided)
        sealed = {row[0] for row in self.read(f"SELECT decision FROM seal {seals}", asked)}
        shared = Counter(
            (row[0], row[1]) for row in self.read(f"SELECT rig, number FROM sheet {condition}", values)
        )
        thrown = dict(self.read(f"{_FIRST_THROWS} {seals} GROUP BY sheet", asked))
        found = []
        for sheet in sheets:
            latest = current(answers.get(sheet.id, []))
            decision = standing_decision(decisions.get(sheet.id, []))
            twin = shared[(sheet.rig, sheet.number)] > 1
            name = f"{sheet.name}.{sheet.id[:4]}" if twin else sheet.name
            closed = decision is not None and decision.id in sealed
            told = latest.answers if latest else nothing()
            found.append(SheetState(sheet, name, told, decision, closed, thrown.get(sheet.id) or ""))
        return sorted(
            found, key=lambda one: (one.sheet.rig, one.day, one.sheet.number, one.sheet.at, one.sheet.id)
        )


_FIRST_THROWS = "SELECT sheet, min(started) FROM placement JOIN trial ON trial.id = placement.trial"


def standing_decision(decisions: Iterable[Decision]) -> Decision | None:
    """The decision that counts; where two logbooks decided apart, a rejection outweighs an acceptance."""
    apart = heads(decisions)
    return current([one for one in apart if one.outcome == REJECTED]) or current(apart)
