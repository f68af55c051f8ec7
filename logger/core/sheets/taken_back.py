"""A "no" that somebody took back: it stays told, on the sheet and in what the sheet states."""

from collections.abc import Iterable, Sequence

from logger.core.quantities.plain import written
from logger.core.records.records import Sighting
from logger.core.sheets.sheet import NO, SEEN, SheetTrial, seen_at

ASKED = {
    "left_pin": "left pin",
    "right_pin": "right pin",
    "load_check": "load check",
    "retained_power_off": "staying put",
}


def taken_back(trials: Iterable[SheetTrial], sightings: Sequence[Sighting]) -> tuple[str, ...]:
    """One sentence for each throw with a "no" that no longer counts: what it was about, who corrected it and why."""
    said = []
    for throw in trials:
        mine = [one for one in sightings if one.trial == throw.id]
        counts = seen_at(throw.id, mine)
        names = [
            name
            for name in SEEN
            if getattr(counts, name) != NO and any(getattr(one, name) == NO for one in mine)
        ]
        if not names:
            continue
        corrections = sorted(
            {
                f"{written(one.by)}: {written(one.reason)}"
                for one in mine
                if one.replaces and written(one.reason)
            }
        )
        what = ", ".join(ASKED[name] for name in names)
        said.append(f"{throw.name}: {what} first written down as 'no', corrected by {'; '.join(corrections)}")
    return tuple(said)
