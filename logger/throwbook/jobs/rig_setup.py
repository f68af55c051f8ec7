"""A rig set up from typed values: checked as it is typed, judged by ``fit``, kept in the logbook as a rig file."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from throwbook.core.machine.rig_validation import RigProblem, complaint
from throwbook.core.quantities.text import written
from throwbook.core.quantities.units import KINDS
from throwbook.core.records import BaselineRecord
from throwbook.core.rig import DIRECTIONS
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.core.sizing.sizing import Sizing, fit
from throwbook.errors import InputError
from throwbook.files.rig_file import (
    SECTIONS,
    YES_NO,
    RigFile,
    parse_rig,
    refuse_contradictions,
    refuse_looser_limits,
)
from throwbook.jobs.find import logbook_path, opened, rig_from, rig_of
from throwbook.jobs.rig_changes import raise_for_change
from throwbook.jobs.rigs import Added, alike_out_of_use

TOP = ("name", "units")


@dataclass(frozen=True)
class SetupCheck:
    """What is to be said of the values typed so far."""

    problems: tuple[RigProblem, ...]
    """Values that don't agree with each other."""
    fit: Sizing | None
    """None until everything that must be there is."""
    lacking: str
    """The first thing that is missing or can't be read, in words; empty: nothing."""


def check_setup(values: Mapping[str, str]) -> SetupCheck:
    """Judge what is typed so far; keys are ``name``, ``units`` and ``section.key`` of a rig file."""
    try:
        found = fit(_parsed(values).rig)
    except InputError as error:
        return SetupCheck((), None, str(error))
    return SetupCheck(found.problems, found, "")


def add_setup(
    logbook: str | Path | None, values: Mapping[str, str], by: str, now: datetime, reason: str = ""
) -> Added:
    """Keep the rig; what of a rig in the logbook isn't among ``values`` (limits, ...) stays as it is.

    Raises InputError for values that contradict each other, and for a change without a reason.
    """
    name = _parsed(values).rig.name
    with opened(logbook) as book, book.transaction():
        known = book.rig_revisions(name)
        read = _parsed(values, book.rig(name).toml if known else "")
        refuse_contradictions(read.rig, "this rig")
        if known and book.rig(name).toml != read.text and not written(reason):
            raise InputError(
                f"the logbook has a rig '{name}' already",
                "name",
                "Choose another name, or say why it changes.",
            )
        wrong = complaint(name, book.rig_names()) if not known else ""
        if wrong:
            raise InputError(f"the name '{name}' {wrong}", "name", "Give the rig another name.")
        before = book.rig(name) if known else None
        refuse_looser_limits(read.rig, "this rig", rig_from(before) if before is not None else None)
        added = book.add_rig(name, read.text, by, now, written(reason))
        new = added.id not in {revision.id for revision in known}
        raised = before is not None and new and raise_for_change(book, before, read.rig, by, now)
        same = alike_out_of_use(book, read.rig) if not known else ()
        return Added(added, new, new and bool(known), raised, same)


def setup_of(logbook: str | Path | None, rig: str) -> dict[str, str]:
    """The values of a rig of the logbook as they would be typed."""
    import tomllib

    with opened(logbook, read_only=True) as book:
        keys = tomllib.loads(book.rig(rig).toml)
    found = {name: str(keys[name]) for name in TOP if name in keys}
    for section, rows in SECTIONS.items():
        table = keys.get(section, {})
        for key, _, kind, _ in rows:
            if key in table:
                value = table[key]
                text = ("yes" if value else "no") if kind == YES_NO else str(value)
                found[f"{section}.{key}"] = f"{100 * value:g} %" if isinstance(value, float) else text
    return found


def start_practice(logbook: str | None, rig: str, by: str, now: datetime) -> Path:
    """A practice logbook beside the real one, with this rig and a baseline of the simulated machine in it.

    Nothing done in it touches the real one.
    """
    from throwbook.jobs.simulated_board import practice_baselines
    from throwbook.logbook.serialization import baseline_to_json

    path = logbook_path(logbook)
    practice = path.with_name(f"{path.stem}-practice{path.suffix}")
    with opened(logbook, read_only=True) as book:
        text = book.rig(rig).toml
    with opened(practice) as book, book.transaction():
        there = rig in book.rig_names() and book.rig(rig).toml == text
        if not there:
            book.add_rig(rig, text, by, now, FOR_PRACTICE)
        # An earlier version's practice logbook has none yet.
        known = {one.direction for one in book.baselines(rig)} if there else set()
        if known < set(DIRECTIONS):
            for direction, baseline in practice_baselines(rig_of(book, rig)).items():
                if direction not in known:
                    body = baseline_to_json(baseline)
                    book.add_baseline(BaselineRecord(rig, direction, (), body, now, by, FOR_PRACTICE))
    return practice


def _parsed(values: Mapping[str, str], held: str = "") -> RigFile:
    """The rig file of ``values``; keys of the rig file ``held`` that aren't among them stay."""
    import tomllib

    import tomli_w

    document: dict[str, Any] = tomllib.loads(held)
    for name in TOP:
        _put(document, name, values[name].strip() if name in values else None)
    for section, rows in SECTIONS.items():
        table: dict[str, Any] = document.pop(section, {})
        for key, _, kind, _ in rows:
            text = values.get(f"{section}.{key}")
            if text and text.strip():
                text = text.strip()
                typed: Any = (
                    text.lower() in ("yes", "true") if kind == YES_NO else _number_or_text(text, kind)
                )
                _put(table, key, typed)
            else:
                _put(table, key, text)
        # A section that isn't needed and where nothing was typed isn't there.
        if table or section in ("lock", "actuator"):
            document[section] = table
    return parse_rig(tomli_w.dumps(document), "this rig")


def _put(table: dict[str, Any], key: str, value: Any) -> None:
    """None: it wasn't asked, and stays; an empty text: it goes."""
    if value == "":
        table.pop(key, None)
    elif value is not None:
        table[key] = value


def _number_or_text(text: str, kind: str) -> Any:
    """A share may be typed as 0.25; everything else stays as it was typed, with its unit."""
    if kind == "share" and kind in KINDS:
        try:
            return float(text)
        except ValueError:
            return text
    return text
