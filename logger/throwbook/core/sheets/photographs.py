"""Photographs beside a sighting: which one counts for a pin, whose words it backs, how far it is from its throw in time.

A photograph is no sighting. It answers nothing, accepts nothing, and moves no status.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from throwbook.core.quantities.text import counted, printable
from throwbook.core.records import NOT_LOOKED, Photograph, PinAnswers, Sighting, current
from throwbook.core.rig import SIDES
from throwbook.core.sheets.sheet import seen_at
from throwbook.core.wording import ANSWERS

WITHIN = timedelta(hours=1)
"""A photograph that was taken further from its throw than this is asked about."""
BACKS_ONLY = (
    "A photograph is no sighting. It only backs the answer of the person who looked. Place data is not kept."
)


def photographs_at(trial: str, photographs: Iterable[Photograph]) -> dict[str, Photograph]:
    """Pin: the photograph that counts for it at this throw; give it all revisions."""
    mine = [one for one in photographs if one.trial == trial]
    found = {pin: current([one for one in mine if one.pin == pin]) for pin in SIDES}
    return {pin: one for pin, one in found.items() if one is not None}


def answer_for(pin: str, seen: PinAnswers) -> str:
    """What a person answered for this pin: ``yes``, ``no`` or ``not looked``."""
    return str(getattr(seen, f"{pin}_pin"))


def after_throw(taken: str, thrown: datetime | None) -> timedelta | None:
    """How long after its throw a photograph was taken, negative: before it; None: its own date or the throw's isn't known.

    A camera that writes no offset from UTC is taken to go by the clock of the place where the throw was made.
    """
    moment = _moment(taken)
    if moment is None or thrown is None:
        return None
    return moment - (thrown if moment.tzinfo is not None else thrown.replace(tzinfo=None))


def _moment(taken: str) -> datetime | None:
    """None for what is no date: a merged logbook may hold any text."""
    try:
        return datetime.fromisoformat(taken)
    except ValueError:
        return None


def far(apart: timedelta | None) -> bool:
    """Whether a person is asked about it."""
    return apart is not None and abs(apart) > WITHIN


STEPS_MIN = (("day", 1440), ("hour", 60), ("minute", 1))


def apart_said(apart: timedelta, throw: str = "the throw") -> str:
    """``3 hours before the throw``."""
    minutes = round(abs(apart).total_seconds() / 60.0)
    word, length = next((word, length) for word, length in STEPS_MIN if minutes >= 2 * length or length == 1)
    return f"{counted(minutes // length, word)} {'before' if apart < timedelta(0) else 'after'} {throw}"


def taken_said(photograph: Photograph, thrown: datetime | None) -> str:
    """When it was taken, by its own clock."""
    apart = after_throw(photograph.taken, thrown)
    if apart is None:
        return f"taken {shown(photograph.taken)}" if photograph.taken else "without a date of its own"
    return f"taken {shown(photograph.taken)} by its own clock, {apart_said(apart)}"


def shown(taken: str) -> str:
    """A date to the minute; what is no date as it stands."""
    moment = _moment(taken)
    return printable(taken) if moment is None else f"{moment:%Y-%m-%d %H:%M}"


def backs(photograph: Photograph, sightings: Iterable[Sighting], who: str) -> str:
    """Whose answer a photograph backs: the one that stood when it was put there, as long as it stands; ``who`` looked."""
    sightings = list(sightings)
    then = [one for one in sightings if one.at <= photograph.at]
    before, answer = (answer_for(photograph.pin, seen_at(photograph.trial, one)) for one in (then, sightings))
    if before != answer:
        return "Put there before the answer was corrected."
    if answer == NOT_LOOKED:
        return "Nobody has answered for it."
    return f"Backs {who}: {ANSWERS[f'{photograph.pin}_pin'][answer].sentence}."


def caption(
    position: int, photograph: Photograph, sightings: Iterable[Sighting], who: str, thrown: datetime | None
) -> str:
    """Which pin of which throw, whose answer it backs, when it was taken, from which file; ``sightings``: see ``seen_at``."""
    return (
        f"Throw {position}, {photograph.pin} pin. {backs(photograph, sightings, who)} File {printable(photograph.file)}, "
        f"{taken_said(photograph, thrown)}. SHA-256 {photograph.picture[:12]}"
    )
