"""Throws that ask for an order: judged "fail", or looked at and answered with a "no"."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from logger.core.records.records import Judgement, Sighting, Trial
from logger.core.records.revisions import current
from logger.logbook.rows import SqlValue
from logger.logbook.trials import TrialRows

ASKING = (
    "SELECT trial FROM judgement WHERE verdict = 'fail' UNION SELECT trial FROM sighting"
    " WHERE left_pin = 'no' OR right_pin = 'no' OR load_check = 'no' OR retained_power_off = 'no'"
)
"""Word for word the conditions of the two short indexes of version 3: no other row is read."""


@dataclass(frozen=True)
class Asking:
    """A throw, and all that an order can follow from."""

    trial: Trial
    kinds: tuple[str, ...]
    """Of every sheet it stands on."""
    judgement: Judgement | None
    """The one that counts."""
    sightings: tuple[Sighting, ...]
    """Every revision."""


class AskingRows(TrialRows):
    """The throws that a rig's status has to answer for."""

    def asking(self, rig: str | None = None) -> list[Asking]:
        """Throws that were ever judged "fail" or answered with a "no", of one rig or of all; the others aren't read."""
        # "+rig": these are few, so it starts from them and not from all throws of the rig
        inside, values = f"SELECT id FROM trial WHERE id IN ({ASKING})", list[SqlValue]()
        if rig is not None:
            inside, values = f"{inside} AND +rig = ?", [rig]
        trials = self.select(Trial, f"WHERE id IN ({inside})", values)
        if not trials:
            return []
        where = f"WHERE trial IN ({inside})"
        kinds = _grouped(
            self.read(f"SELECT trial, kind FROM placement JOIN sheet ON sheet.id = sheet {where}", values)
        )
        judged = _grouped((one.trial, one) for one in self._judgements(where, values))
        seen = _grouped((one.trial, one) for one in self.select(Sighting, where, values))
        return [
            Asking(one, tuple(sorted(set(kinds[one.id]))), current(judged[one.id]), tuple(seen[one.id]))
            for one in trials
        ]


def _grouped(pairs: Iterable[tuple[str, object]]) -> dict[str, list]:  # type: ignore[type-arg]
    found = defaultdict(list)
    for key, value in pairs:
        found[key].append(value)
    return found
