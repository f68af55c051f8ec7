"""Sheets: planned, answered, decided, sealed."""

import secrets
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from logger.core.records import (
    Answers,
    Decision,
    Details,
    Fact,
    Seal,
    Sheet,
    SheetState,
    current,
    heads,
    nothing,
)
from logger.errors import InputError
from logger.logbook.connection import plain_errors
from logger.logbook.rows import BY_NAME, SqlValue, fact
from logger.logbook.store import Store

SEALED_BY_TRIAL = ("placement", "sighting", "judgement")


class SheetRows(Store):
    """Rows that belong to a sheet."""

    def read(self, sql: str, values: Sequence[SqlValue] = ()) -> list[Any]:
        """Rows of any question to the file."""
        with plain_errors(self.path):
            return self.db.execute(sql, values).fetchall()

    def plan_sheet(self, rig: str, kind: str, plan: Details, by: str, now: datetime) -> Sheet:
        """A new open sheet with the rig's next number."""
        with self.transaction():
            last = self.read("SELECT coalesce(max(number), 0) FROM sheet WHERE rig = ?", [rig])[0][0]
            return self.add(Sheet(rig, kind, last + 1, now, by, plan, secrets.token_hex(8)))

    def sheets(self, rig: str | None = None) -> list[SheetState]:
        """Sheets of a rig, or of all of them, oldest first."""
        where, values = ("WHERE rig = ?", [rig]) if rig is not None else ("", [])
        return self._states(self.select(Sheet, f"{where} ORDER BY rig, number, at, id", values), rig)

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
            return self._states(found, found[0].rig)[0]
        if found:
            names = ", ".join(state.name for state in self._states(found, found[0].rig))
            raise InputError(
                f"more than one sheet is called '{name_or_id}'", str(self.path), f"Say which: {names}."
            )
        raise InputError(
            f"no sheet '{name_or_id}' in this logbook",
            str(self.path),
            "'throwbook sheet list' shows their names.",
        )

    def decided_and_newest_sheets(self) -> dict[str, list[SheetState]]:
        """For each rig: its decided sheets and its newest one, oldest first."""
        found: dict[str, list[SheetState]] = defaultdict(list)
        newest = {row[0]: row[1] for row in self.read("SELECT rig, max(number) FROM sheet GROUP BY rig")}
        for state in self.sheets():
            if state.decision is not None or state.sheet.number == newest[state.sheet.rig]:
                found[state.sheet.rig].append(state)
        return found

    def answer(self, sheet: str, answers: Details, by: str, now: datetime, reason: str = "") -> Answers:
        """What was asked on the sheet; stands for the earlier answers."""
        with self.transaction():
            known = heads(self.answers(sheet))
            return self.add(Answers(sheet, answers, now, by, reason, tuple(row.id for row in known)))

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
        """How the sheet ended, signed. The rules for it stand in ``logger.core.sheet``, not here."""
        with self.transaction():
            known = heads(self.decisions(sheet))
            replaces = tuple(row.id for row in known)
            return self.add(Decision(sheet, outcome, signed, statement, now, by, reason, replaces))

    def decisions(self, sheet: str) -> list[Decision]:
        """Every decision on a sheet, oldest first."""
        return self.select(Decision, "WHERE sheet = ? ORDER BY at, id", [sheet])

    def add_seal(self, seal: Seal) -> Seal:
        """The seal of a decided sheet."""
        return self.add(seal)

    def seals(self, rig: str) -> list[Seal]:
        """Every seal of a rig, oldest first."""
        return self.select(Seal, "WHERE rig = ? ORDER BY at, id", [rig])

    def last_seals(self, rig: str) -> tuple[str, ...]:
        """Ids of the seals that no later one is chained to."""
        listed = self.seals(rig)
        chained = {old for seal in listed for old in seal.previous}
        return tuple(seal.id for seal in listed if seal.id not in chained)

    def sheet_facts(self, sheet: str) -> list[Fact]:
        """Every row a sheet rests on now, for its seal: the sheet, its rig as it stood, answers, decisions, trials
        with their sightings and judgements, the samples' digests (in the trials), and the rig's orders."""
        rig = self.read("SELECT rig FROM sheet WHERE id = ?", [sheet])[0][0]
        here = "WHERE trial IN (SELECT trial FROM placement WHERE sheet = ?)"
        found = self._facts("rig_revision", "WHERE rig = ?", rig)
        found += self._facts("sheet", "WHERE id = ?", sheet)
        found += self._facts("answers", "WHERE sheet = ?", sheet)
        found += self._facts("trial", "WHERE id IN (SELECT trial FROM placement WHERE sheet = ?)", sheet)
        found += self._facts("placement", "WHERE sheet = ?", sheet)
        found += self._facts("sighting", here, sheet)
        found += self._facts("judgement", here, sheet)
        found += self._facts("decision", "WHERE sheet = ?", sheet)
        return found + self._facts("latch_order", "WHERE rig = ?", rig)

    def facts(self, covers: Iterable[str]) -> list[Fact]:
        """The rows named ``table:id``, reckoned from what is stored now; missing ones are left out."""
        found = []
        for each in covers:
            table, _, row_id = each.partition(":")
            found += self._facts(table, "WHERE id = ?", row_id)
        return found

    def _facts(self, table: str, where: str, value: str) -> list[Fact]:
        shape = BY_NAME[table]
        rows = self.read(f"SELECT id, * FROM {table} {where} ORDER BY id", [value])
        return [replace(fact(shape, dict(row)), id=row["id"]) for row in rows]

    def _states(self, sheets: list[Sheet], rig: str | None) -> list[SheetState]:
        """Sheets with their current rows, read for all of them at once."""
        inside = "JOIN sheet s ON s.id = {table}.sheet WHERE s.rig = ?" if rig is not None else ""
        values = [rig] if rig is not None else []
        answers = _by_sheet(self.select(Answers, inside.format(table="answers"), values))
        decisions = _by_sheet(self.select(Decision, inside.format(table="decision"), values))
        condition = "WHERE rig = ?" if rig is not None else ""
        sealed = {row[0] for row in self.read(f"SELECT decision FROM seal {condition}", values)}
        shared = Counter(
            (row[0], row[1]) for row in self.read(f"SELECT rig, number FROM sheet {condition}", values)
        )
        found = []
        for sheet in sheets:
            told = current(answers.get(sheet.id, []))
            decision = current(decisions.get(sheet.id, []))
            twin = shared[(sheet.rig, sheet.number)] > 1
            name = f"{sheet.name}.{sheet.id[:4]}" if twin else sheet.name
            closed = decision is not None and decision.id in sealed
            found.append(SheetState(sheet, name, told.answers if told else nothing(), decision, closed))
        return found


def _by_sheet(rows: Iterable[Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.sheet].append(row)
    return found
