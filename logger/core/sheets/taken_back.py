"""A "no" that somebody took back, or that came after the sheet was decided: it stays told."""

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


def no_since(since: Iterable[Sighting]) -> bool:
    """Whether one of the sightings ``since`` the sheet was decided says "no"."""
    return any(NO in (getattr(one, name) for name in SEEN) for one in since)


def state_said(state: str, no_came: bool) -> str:
    """State of a sheet wherever sheets are listed: an acceptance that was followed by a "no" never stands alone."""
    return f"{state}, a NO since" if no_came else state


def said_since(trials: Iterable[SheetTrial], since: Iterable[Sighting]) -> tuple[str, ...]:
    """One sentence for each "no" in the sightings ``since`` the sheet was decided."""
    names = {one.id: one.name for one in trials}
    return tuple(
        f"{names.get(one.trial, 'a throw')}: {', '.join(ASKED[name] for name in SEEN if getattr(one, name) == NO)} "
        f"NO, written down {one.at:%Y-%m-%d %H:%M} by {one.by}, after the sheet was decided"
        for one in since
        if NO in (getattr(one, name) for name in SEEN)
    )
