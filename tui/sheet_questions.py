"""What every sheet asks, as fields of a form: how a question is put, and an answer read and written. Nothing of Textual."""

from typing import Any

from logger.core.quantities.units import parse, show
from logger.core.sheets.questions import QUESTIONS
from tui.fields import CHOICE, TEXT, YES_NO, FieldSpec

# question: (words in front of the field, kind of field, hint)
ASKED: dict[str, tuple[str, str, str]] = {
    "hours_since_movement": ("hours since it last moved", "time", "16 h, 3 days, ..."),
    "worked_before": ("greased or worked before", TEXT, "no, or what was done"),
    "ambient_c": ("air temperature", "temperature", "4 degC"),
    "supply": ("what feeds it", TEXT, "machine battery, ..."),
    "engine_running": ("engine running", CHOICE, ""),
    "attachment": ("which attachment", TEXT, "bucket, forks, none, ..."),
    "operator": ("who does it", TEXT, ""),
    "instruments": ("instruments", TEXT, "make-up and number"),
}


def answers_from(values: dict[str, str]) -> dict[str, Any]:
    """Typed answers as ``core.sheets.questions`` names them; what is empty stays out: not recorded."""
    told: dict[str, Any] = {}
    for key, (_, kind, _) in ASKED.items():
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
            words,
            kind,
            hint=hint,
            choices=YES_NO if kind == CHOICE else (),
            section="Asked on every sheet; empty is kept as not recorded" if number == 0 else "",
            replaced=one.key == "operator",
            unit="h" if one.key == "hours_since_movement" else "",
        )
        for number, one in enumerate(QUESTIONS)
        for words, kind, hint in [ASKED[one.key]]
    )


def as_typed(key: str, value: Any) -> str:
    """An answer as it would be typed."""
    if key == "hours_since_movement":
        return f"{value:g} h"
    if ASKED[key][1] == "temperature":
        return show(value, "temperature")
    if ASKED[key][1] == CHOICE:
        return "yes" if value else "no"
    return str(value)
