"""Throws that ask for an order: judged "fail", or looked at and answered with a "no"."""

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from logger.core.assessment import EARLIER_METHODS, METHOD_VERSION
from logger.core.records.records import Sighting
from logger.logbook.tables import JUDGED_FAIL, SAID_NO_AT
from logger.logbook.trials import TrialRows

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


class AskingRows(TrialRows):
    """The throws that a rig's status has to answer for."""

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
        kinds = _grouped(self.read(KINDS, listed))
        signs = _grouped((row[0], (row[1], row[2])) for row in self.read(FAILED_SIGNS, listed))
        seen = _grouped((one.trial, one) for one in self.select(Sighting, f"WHERE trial IN {LISTED}", listed))
        return [
            Asking(trial, whose, direction, tuple(kinds[trial]), tuple(signs[trial]), tuple(seen[trial]))
            for trial, whose, direction in trials
        ]

    def judged_earlier(self, rig: str | None = None) -> dict[str, list[str]]:
        """By rig: throws that an earlier method judged and this one didn't yet, of one rig or of all."""
        of_rig, values = ("", []) if rig is None else ("AND +rig = ?", [rig])
        return _grouped(self.read(f"{JUDGED_EARLIER} {of_rig}", values))


def _grouped(pairs: Iterable[Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = defaultdict(list)
    for key, value in pairs:
        found[key].append(value)
    return found
