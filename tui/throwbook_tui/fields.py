"""What a form asks, and what is said of an answer while it is typed; the questions of every sheet as such fields."""

import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from math import log10
from pathlib import Path
from typing import Any

from throwbook.core.quantities.text import day_typed, moment_typed, quoted
from throwbook.core.quantities.units import (
    COMMON,
    KINDS,
    Typed,
    display_unit,
    parse,
    show,
    to_display,
    typed,
)
from throwbook.core.rig import METRIC, US
from throwbook.core.sheets.conditions import QUESTIONS
from throwbook.core.wording import CONDITIONS, Name
from throwbook.errors import InputError

TEXT, DATE, MOMENT, COUNT, CHOICE = "text", "date", "moment", "count", "choice"

LONGEST = 200

YES_NO = (("yes", "yes"), ("no", "no"))


def typed_path(text: str) -> Path:
    """A path as typed; ``~name`` of nobody stays as it is, where Path itself would raise."""
    return Path(os.path.expanduser(text.strip()))


@dataclass(frozen=True)
class FieldSpec:
    """One thing to be answered."""

    key: str
    asked: str
    """At most 26 letters: it stands in front of the field."""
    kind: str = TEXT
    """A key of ``KINDS``, or ``text``, ``date``, ``moment``, ``count``, ``choice``."""
    must: bool = False
    hint: str = ""
    """Shown while the field is empty."""
    hint_us: str = ""
    """The same for a rig in US units, where it differs."""
    choices: tuple[tuple[str, str], ...] = ()
    """(value, word) of a choice; none is chosen until a person does it."""
    section: str = ""
    """Heading before this field."""
    unit: str = ""
    """Unit that a bare number gets on Enter, where it isn't that of the rig's system."""
    replaced: bool = False
    """What stands in it is only a proposal: typing replaces the whole."""
    today: date | None = None
    """The day that a time of day alone is of; None: it needs one."""
    judge: Callable[[str], str] | None = None
    """A further complaint about a text that could be read; empty: none."""


@dataclass(frozen=True)
class Checked:
    """What is to be said of what is typed."""

    good: bool
    say: str
    complete: str = ""
    """The text with its unit, to be put in its place on Enter; empty: leave it."""


def hint(spec: FieldSpec, system: str) -> str:
    """What stands in an empty field."""
    return spec.hint_us or spec.hint if system == US else spec.hint


def check_field(spec: FieldSpec, text: str, system: str = METRIC) -> Checked:
    """Judge ``text`` as it stands."""
    plain = text.strip()
    if not plain:
        return Checked(not spec.must, hint(spec, system) or ("required" if spec.must else "may stay blank"))
    if spec.kind in (DATE, MOMENT):
        found = _day(spec, plain, system)
    elif spec.kind == COUNT:
        good = plain.isdigit() and 0 < int(plain) < 1_000_000
        found = Checked(good, "" if good else f"{quoted(plain)} is not a whole number above zero")
    elif spec.kind == CHOICE:
        found = Checked(True, "")
    elif spec.kind == TEXT:
        good = len(plain) <= LONGEST and plain.isprintable()
        found = Checked(good, "" if good else f"too long (at most {LONGEST} letters) or unprintable")
    else:
        found = _quantity(spec, plain, system)
    complaint = spec.judge(plain) if found.good and spec.judge is not None else ""
    return Checked(False, complaint) if complaint else found


def _day(spec: FieldSpec, plain: str, system: str) -> Checked:
    """A day or a moment; one that isn't written as it is kept is said back, and put into that form on Enter."""
    timed, month_first = spec.kind == MOMENT, system == US
    try:
        return Checked(True, f"{(datetime if timed else date).fromisoformat(plain):%A}")
    except ValueError:
        pass
    try:
        if timed and ":" in plain:
            moment = moment_typed(plain, spec.today, month_first)
            day, kept = moment.date(), moment.isoformat(" ", "seconds" if moment.second else "minutes")
        else:
            day = day_typed(plain, month_first)
            kept = day.isoformat()
    except InputError as error:
        if error.what.endswith("?"):  # two days are possible
            return Checked(False, f"{error.what} {error.do}")
        return Checked(False, f"not a date{' and time' * timed}: type it like 2026-03-14{' 09:12' * timed}")
    return Checked(True, f"= {kept}, {day:%A}", kept)


def _quantity(spec: FieldSpec, plain: str, system: str) -> Checked:
    unit = spec.unit or display_unit(spec.kind, system)
    try:
        read = typed(plain, spec.kind, system=system)
    except InputError as error:
        if _bare(plain):
            whole = f"{plain} {unit}"
            try:
                parse(whole, spec.kind, system=system)
            except InputError as other:
                return Checked(False, other.what)
            return Checked(False, f"no unit: Enter reads it as {whole}", whole)
        example = f"16 {spec.unit}" if spec.unit else KINDS[spec.kind].examples[system]
        return Checked(False, f"{error.what}; for example {example}")
    value = read.value
    if spec.kind == "share" and value > 1.0 and _bare(plain):
        return Checked(False, f"more than 100 %: Enter reads it as {plain} %", f"{plain} %")
    if spec.unit:
        return Checked(True, f"= {value / COMMON[spec.unit][1]:g} {spec.unit}")
    return Checked(True, f"= {_as_read(read, spec.kind, system)}")


def _as_read(read: Typed, kind: str, system: str) -> str:
    """In the unit of the system, with every digit that was typed: a meter's last nought counts."""
    unit = display_unit(kind, system)
    decimals = -log10(read.step / COMMON[unit][1])
    if decimals < 0.0 or abs(decimals - round(decimals)) > 1e-6:
        return show(read.value, kind, system)
    return f"{to_display(read.value, kind, system):.{round(decimals)}f} {unit}"


def _bare(plain: str) -> bool:
    """A number or a fraction and nothing behind it."""
    return plain[-1:].isdigit() and not any(letter.isalpha() for letter in plain)


def moment_from(text: str, now: datetime) -> datetime:
    """A day, or a day and a time, as typed; without an offset this computer's own is meant. Raises ValueError."""
    found = datetime.fromisoformat(text.strip())
    return found if found.tzinfo is not None else found.replace(tzinfo=now.tzinfo)


def future_complaint(text: str, now: datetime) -> str:
    """Why a day, or a day and a time, can't be that of a throw; empty: it can."""
    try:
        when = moment_from(text, now)
    except ValueError:
        return ""  # told already
    return "this date is in the future" if when > now else ""


def accuracy_complaint(text: str) -> str:
    """Why an accuracy can't be read; empty: it can."""
    from throwbook.core.sheets.hand_readings import accuracy_from

    try:
        accuracy_from(text)
    except InputError as error:
        return f"{error.what}: write 2% + 3 digits"
    return ""


LONGEST_LABEL = 26
# question: (kind of field, hint)
ASKED: dict[str, tuple[str, str]] = {
    "hours_since_movement": ("time", "16 h, 3 days, ..."),
    "worked_before": (TEXT, "no, or: greased, moved before the test"),
    "ambient_c": ("temperature", "4 degC"),
    "supply": (TEXT, "machine battery, ..."),
    "engine_running": (CHOICE, ""),
    "attachment": (TEXT, "bucket, forks, none, ..."),
    "operator": (TEXT, ""),
    "instruments": (TEXT, "make, model, serial no."),
}


def label(name: Name) -> str:
    """The long form where there is room for it in front of a field."""
    return name.sentence if len(name.sentence) <= LONGEST_LABEL else name.column


def answers_from(values: dict[str, str]) -> dict[str, Any]:
    """Typed answers as ``core.sheets.questions`` names them; what is empty stays out: not recorded."""
    told: dict[str, Any] = {}
    for key, (kind, _) in ASKED.items():
        text = values.get(key, "").strip()
        if not text:
            continue
        if key == "hours_since_movement":
            told[key] = parse(text, "time") / 3600.0
        elif kind == "temperature":
            told[key] = parse(text, "temperature")
        elif kind == CHOICE:
            told[key] = text == "yes"
        else:
            told[key] = text
    return told


def question_specs() -> tuple[FieldSpec, ...]:
    """One field for each question, under one heading."""
    return tuple(
        FieldSpec(
            one.key,
            label(CONDITIONS[one.key]),
            kind,
            hint=hint,
            hint_us=KINDS[kind].examples[US] if kind == "temperature" else "",
            choices=YES_NO if kind == CHOICE else (),
            section="Asked on every sheet. A blank is stored as 'not recorded'." if number == 0 else "",
            replaced=one.key == "operator",
            unit="h" if one.key == "hours_since_movement" else "",
        )
        for number, one in enumerate(QUESTIONS)
        for kind, hint in [ASKED[one.key]]
    )


def as_typed(key: str, value: Any, system: str) -> str:
    """An answer as it would be typed."""
    if key == "hours_since_movement":
        return f"{value:g} h"
    if ASKED[key][0] == "temperature":
        return show(value, "temperature", system)
    if ASKED[key][0] == CHOICE:
        return "yes" if value else "no"
    return str(value)
