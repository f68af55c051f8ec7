"""Rigs, the orders to their status latch, their services and baselines; calibrations of boards, and meters."""

from datetime import date, datetime

from throwbook.core.records import (
    BaselineRecord,
    Calibration,
    Meter,
    Order,
    RigRevision,
    Service,
    current,
    heads,
)
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.errors import InputError, Remedy
from throwbook.logbook.schema import grouped, to_json
from throwbook.logbook.store import Store

_WRITTEN_DOWN = "(SELECT min(at) FROM placement WHERE placement.trial = trial.id)"
"""When a trial without a time of its own was written down."""
_NAMED_AT_MOST = 8
SETS_CHECK = """(instr(details, '"due_') OR instr(details, '"machine_hours_h"'))"""
"""Services that say when the next check is due, or read the hour meter."""


def _meant(typed: str, names: list[str]) -> str:
    """The rigs somebody may have meant who half remembers a name, or else the first ones; "" where there are none."""
    from difflib import get_close_matches

    wanted = typed.casefold()
    inside = [name for name in names if wanted and wanted in name.casefold()]
    close = get_close_matches(wanted, [name.casefold() for name in names], _NAMED_AT_MOST, 0.6)
    alike = list(
        dict.fromkeys([*inside, *(name for fold in close for name in names if name.casefold() == fold)])
    )
    shown = (alike or names)[:_NAMED_AT_MOST]
    rest = len(alike or names) - len(shown)
    return ", ".join(shown) + (f" and {rest} more" if rest else "")


class RigStore(Store):
    """Rows that belong to a rig or a board."""

    def add_rig(self, rig: str, toml: str, by: str, now: datetime, reason: str = "") -> RigRevision:
        """A new rig, or a new revision of one; the same text again changes nothing."""
        known = self.select(RigRevision, "WHERE rig = ?", [rig])
        latest = current(known)
        if latest is not None and latest.toml == toml and len(heads(known)) == 1:
            return latest
        with self.transaction():
            self.db.execute("INSERT INTO rig (name) VALUES (?) ON CONFLICT (name) DO NOTHING", [rig])
            return self.supersede(RigRevision(rig, toml, now, by, reason))

    def rig_names(self) -> list[str]:
        """Names in alphabetical order."""
        return [row[0] for row in self.read("SELECT name FROM rig ORDER BY name")]

    def rig(self, name: str) -> RigRevision:
        """The revision of a rig that counts. Raises InputError for a name the logbook doesn't have."""
        found = current(self.select(RigRevision, "WHERE rig = ?", [name]))
        if found is None:
            names = self.rig_names()
            listed = f"It has: {_meant(name, names)}" if names else "It has none yet"
            raise InputError(
                f"no rig '{name}' in this logbook",
                str(self.path),
                f"{listed}.",
                Remedy.ADD_RIG,
            )
        return found

    def for_practice(self) -> bool:
        """Whether this is a practice logbook: nothing in it proves anything about a real machine."""
        return bool(self.read("SELECT 1 FROM rig_revision WHERE reason = ? LIMIT 1", [FOR_PRACTICE]))

    def rig_revisions(self, name: str) -> list[RigRevision]:
        """Every revision, oldest first."""
        return self.select(RigRevision, "WHERE rig = ? ORDER BY at, id", [name])

    def trial_counts(self, rig: str | None = None) -> dict[str, tuple[int, datetime | None]]:
        """By rig: how many trials, and when the newest of them was thrown; one without a time of its own (typed in from
        paper) counts from when it was written down.
        """
        where, values = ("WHERE name = ?", [rig]) if rig is not None else ("", [])
        # by the index of rig and day alone, and of the days only the ends
        rows = self.read(
            "SELECT name, (SELECT count(*) FROM trial WHERE rig = name), (SELECT max(started) FROM trial WHERE rig = name),"
            f" EXISTS (SELECT 1 FROM trial WHERE rig = name AND started IS NULL) FROM rig {where}",
            values,
        )
        undated = [row[0] for row in rows if row[3]]
        later = dict(
            self.read(
                f"SELECT rig, max({_WRITTEN_DOWN}) FROM trial WHERE started IS NULL"
                " AND rig IN (SELECT value FROM json_each(?)) GROUP BY rig",
                [to_json(undated)],
            )
            if undated
            else ()
        )
        found = {}
        for name, count, newest, _ in (row for row in rows if row[1]):
            moments = [text for text in (newest, later.get(name)) if text]
            found[name] = (count, datetime.fromisoformat(max(moments)) if moments else None)
        return found

    def locks_since(self, rig: str, day: date) -> int:
        """Lock throws on or after a day, by their own clock or else by when they were written down."""
        rows = self.read(
            "SELECT count(*) FROM trial WHERE rig = ? AND direction = 'lock'"
            f" AND substr(coalesce(started, {_WRITTEN_DOWN}), 1, 10) >= ?",
            [rig, day.isoformat()],
        )
        return int(rows[0][0])

    def add_order(self, order: Order) -> Order:
        """One entry of the latch's log; it is linked to the rig's last ones here."""
        from dataclasses import replace

        from throwbook.core.status.latch import latest

        with self.transaction():
            return self.add(replace(order, previous=latest(self.orders(order.rig))))

    def orders(self, rig: str) -> list[Order]:
        """Every order of a rig, oldest first by its own clock; the links say what came before what."""
        return self.select(Order, "WHERE rig = ? ORDER BY at, id", [rig])

    def altered_orders(self, rig: str) -> frozenset[str]:
        """Ids of orders whose content no longer gives their id: somebody changed them in the file."""
        return frozenset(each.id for each in self.altered("latch_order", "WHERE rig = ?", [rig]))

    def add_service(self, service: Service) -> Service:
        """One entry of the maintenance history; ``replaces`` names the one it corrects."""
        return self.add(service)

    def services(self, rig: str, every_revision: bool = False) -> list[Service]:
        """The history as it counts now, oldest first, or with the corrected entries too."""
        rows = self.select(Service, "WHERE rig = ? ORDER BY at, id", [rig])
        return rows if every_revision else heads(rows)

    def services_with_checks(self, rig: str) -> list[Service]:
        """The same, or none where no entry ever said when a check is due, or read the hour meter."""
        asked = self.read(f"SELECT 1 FROM service WHERE rig = ? AND {SETS_CHECK} LIMIT 1", [rig])
        return self.services(rig) if asked else []

    def add_baseline(self, baseline: BaselineRecord) -> BaselineRecord:
        """A frozen baseline; older ones stay."""
        return self.add(baseline)

    def baselines(self, rig: str, direction: str | None = None) -> list[BaselineRecord]:
        """Every baseline of a rig, oldest first."""
        rows = self.select(BaselineRecord, "WHERE rig = ? ORDER BY at, id", [rig])
        return [row for row in rows if direction in (None, row.direction)]

    def add_calibration(self, calibration: Calibration) -> Calibration:
        """A board's calibration; it stands for the board's earlier ones."""
        return self.supersede(calibration)

    def calibrations(self, board: str) -> list[Calibration]:
        """Every calibration of a board, oldest first; ``records.current`` picks the one that counts."""
        return self.select(Calibration, "WHERE board = ? ORDER BY at, id", [board])

    def add_meter(self, meter: Meter) -> Meter:
        """An instrument; it stands for what was written of it under this name before."""
        return self.supersede(meter)

    def meters(self) -> list[Meter]:
        """Every instrument by its name, as it counts now."""
        rows = grouped((row.name, row) for row in self.meter_rows())
        return [one for one in map(current, rows.values()) if one is not None]

    def meter_rows(self) -> list[Meter]:
        """Every revision of every instrument."""
        return self.select(Meter, "ORDER BY name, at, id")
