"""What every sheet asks, and what an unanswered question costs; throws that no machine made.

A blank is kept as "not recorded". It never becomes "no"; it lowers what the sheet may claim.

A simulated board and the sample runs say in the head of their records what they are. Such a throw stays out of a real
logbook, or at least out of every acceptance there; in a practice logbook all that is done says that it is practice.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from throwbook.core.assessment import PASS, WATCH
from throwbook.core.quantities.text import written
from throwbook.core.quantities.units import display_unit, parse, show, to_display
from throwbook.core.rig import METRIC
from throwbook.core.wording import CONDITIONS, NOT_RECORDED
from throwbook.errors import InputError

REHEARSAL_BOARD = "rehearsal"
"""What a simulated board calls itself."""
FOR_PRACTICE = "for practice"
"""Reason of a rig file's version by which its logbook is known as one for practice."""
CAUTION = "Practice: simulated throws. Nothing here proves anything about a real machine."


def simulated_by(head: Mapping[str, Any]) -> str:
    """What made a record, where no machine did, by the head of its file; empty: nothing says that it is simulated.

    >>> simulated_by({"board": "rehearsal"}), simulated_by({"board": "shunt-1"})
    ('a simulated board', '')
    """
    if str(head.get("board", "")).strip().lower() == REHEARSAL_BOARD:
        return "a simulated board"
    return "a simulation" if "simulated" in str(head.get("made_by", "")).lower() else ""


AMBIENT_FROM = "ambient_from"
"""Head key of a record whose air temperature a person didn't type: where it comes from."""
AT_THE_BOARD = "board"
MOST_APART_K = 8.0
"""Air as typed and as the board's probe reads it; further apart, one of them is wrong. Common practice, no source."""


def air_doubt(typed_c: float | None, board_c: float | None, units: str = METRIC) -> str:
    """What a person is told before the probe's temperature may count as the air's; empty: there is nothing to ask.

    >>> air_doubt(20.0, 7.0)
    'The air temperature was typed as 20 degC, and the probe at the board reads 7 degC: more than 8 K apart.'
    >>> air_doubt(12.0, 7.0)
    ''
    """
    if board_c is None or (typed_c is not None and abs(typed_c - board_c) <= MOST_APART_K):
        return ""
    read = show(board_c, "temperature", units)
    if typed_c is None:
        return f"The probe at the board reads {read}. In the sun, or beside an engine, that is not the air."
    typed = show(typed_c, "temperature", units)
    return f"The air temperature was typed as {typed}, and the probe at the board reads {read}: more than {MOST_APART_K:.0f} K apart."


@dataclass(frozen=True)
class Conditions:
    """What every sheet asks. None is "not recorded", never "no"."""

    hours_since_movement: float | None = None
    worked_before: str | None = None
    """``no``, or what was done: greased, worked a few times, ..."""
    ambient_c: float | None = None
    supply: str | None = None
    """What fed it: machine battery, bench supply, ..."""
    engine_running: bool | None = None
    attachment: str | None = None
    operator: str | None = None
    instruments: str | None = None


def conditions_from(answers: Mapping[str, Any]) -> Conditions:
    """Answers as the logbook keeps them."""
    return Conditions(**{f.name: answers.get(f.name) for f in fields(Conditions)})


def with_air(conditions: Conditions, recorded: Iterable[float | None]) -> Conditions:
    """An air temperature that nobody typed is that of the records themselves: the mean of those that hold one [degC]."""
    air = [one for one in recorded if one is not None]
    if conditions.ambient_c is not None or not air:
        return conditions
    return replace(conditions, ambient_c=sum(air) / len(air))


@dataclass(frozen=True)
class Question:
    """One question and what leaving it blank costs."""

    key: str
    """Field of ``Conditions``."""
    option: str
    """The option that answers it."""
    caps_at: str | None
    """Best verdict the sheet may have while it is blank; None: no cap."""
    claim_lost: str
    """What the sheet can't claim while it is blank."""
    unit: str = ""

    @property
    def asked(self) -> str:
        """As a question."""
        name = CONDITIONS[self.key].sentence
        return f"{name[:1].upper()}{name[1:]}?"


QUESTIONS: tuple[Question, ...] = (
    Question(
        "hours_since_movement",
        "--hours-since",
        WATCH,
        "how it runs after standing (the first throw may or may not be as found)",
        " h",
    ),
    Question(
        "worked_before",
        "--worked-before",
        WATCH,
        "its state before the test (it may have been greased or moved first)",
    ),
    Question(
        "ambient_c",
        "--ambient",
        None,
        "comparison with checks in other weather",
        " degC",
    ),
    Question("supply", "--supply", None, "the supply on the machine"),
    Question("engine_running", "--engine", None, "the supply with the engine off"),
    Question("attachment", "--attachment", None, "any particular attachment"),
    Question("operator", "--operator", None, "whom to ask"),
    Question("instruments", "--instruments", None, "traceable uncertainty"),
)


def answer_from(key: str, text: str, where: str = "") -> str | float | bool | None:
    """An answer as a person types it, as ``Conditions`` keeps it; blank is None.

    ``16`` or ``16h`` or ``3 days`` for the hours, ``4`` or ``4degC`` or ``40degF`` for the ambient, ``yes``/``no`` for
    the engine, any text for the rest. Raises InputError.

    >>> answer_from("hours_since_movement", "2 days"), answer_from("ambient_c", "4"), answer_from("supply", " ")
    (48.0, 4.0, None)
    """
    text = written(text)
    if not text:
        return None
    bare = text.lstrip("+-").replace(".", "", 1).isdigit()
    if key == "hours_since_movement":
        try:
            return parse(f"{text} h" if bare else text, "time", where) / 3600.0
        except InputError as error:
            raise InputError(error.what, error.where, "Type it like 16h or 3 days.") from error
    if key == "ambient_c":
        return parse(f"{text} degC" if bare else text, "temperature", where)
    if key == "engine_running":
        if text.lower() not in YES_NO:
            raise InputError(
                f"{text!r} is neither yes nor no", where or "engine running", "Answer yes or no."
            )
        return YES_NO[text.lower()]
    return text


YES_NO = {"yes": True, "y": True, "no": False, "n": False}


@dataclass(frozen=True)
class Cap:
    """A verdict after the blanks have had their say."""

    verdict: str
    because: tuple[str, ...]
    """Why it was lowered; empty: it wasn't."""
    claims_lost: tuple[str, ...]


def unanswered(conditions: Conditions) -> tuple[Question, ...]:
    """The questions left blank."""
    return tuple(
        one
        for one in QUESTIONS
        if getattr(conditions, one.key) is None or not written(str(getattr(conditions, one.key)))
    )


def cap(verdict: str, conditions: Conditions) -> Cap:
    """Lower a ``pass`` as far as the blanks ask; anything worse stays as it is."""
    blank = unanswered(conditions)
    lowering = [one for one in blank if one.caps_at is not None]
    because = tuple(f"{NOT_RECORDED}: {CONDITIONS[one.key].sentence}" for one in lowering)
    claims = tuple(one.claim_lost for one in blank)
    if verdict == PASS and lowering:
        return Cap(WATCH, because, claims)
    return Cap(verdict, (), claims)


def said(conditions: Conditions, units: str = METRIC) -> dict[str, str]:
    """Every question and its answer as text, blanks as "not recorded"; ``units``: the rig's."""
    told = {}
    for one in QUESTIONS:
        value = getattr(conditions, one.key)
        unit = one.unit
        if isinstance(value, bool):
            value = "yes" if value else "no"
        elif isinstance(value, float):
            if one.key == "ambient_c":
                value = to_display(value, "temperature", units)
                unit = f" {display_unit('temperature', units)}"
            value = round(value, 1)
        told[one.asked] = NOT_RECORDED if value is None or value == "" else f"{value}{unit}"
    return told
