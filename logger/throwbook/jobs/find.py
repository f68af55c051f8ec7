"""Which logbook, which rig, which baseline: one rule each."""

import os
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.records import (
    BENCH,
    COMMISSIONING,
    BaselineRecord,
    LoggedTrial,
    RigRevision,
    SheetState,
    current,
)
from throwbook.core.rig import Rig
from throwbook.errors import OutsideError, Remedy
from throwbook.logbook import Logbook, open_logbook
from throwbook.logbook.connection import Waiting

if TYPE_CHECKING:
    from throwbook.core.analysis.baseline import Baseline
    from throwbook.core.assessment import Assessment
    from throwbook.core.sheets.baseline_selection import ChoiceSheet
    from throwbook.core.sizing.sizing import Sizing
    from throwbook.files.rig_file import RigFile


@dataclass(frozen=True, eq=False)
class BaselineInForce:
    """A baseline and the row it comes from."""

    baseline: "Baseline"
    record: BaselineRecord | None
    """None: provisional, drawn from the first bench or commissioning sheet."""


def baseline_for(book: Logbook, rig: str, direction: str, kind: str = "") -> BaselineInForce | None:
    """The newest frozen baseline of this direction, or a provisional one, or None before there is any healthy throw.

    ``kind`` of the sheet to be judged: off the machine there is no load, so a bench throw is held against bench throws
    only, and any other throw never against those. Empty: whatever there is.
    """
    frozen = book.baselines(rig, direction) if kind != BENCH else []
    if frozen:
        from throwbook.logbook.serialization import baseline_from_json

        return BaselineInForce(baseline_from_json(frozen[-1].body), frozen[-1])
    kinds = {"": (BENCH, COMMISSIONING), BENCH: (BENCH,)}.get(kind, (COMMISSIONING,))
    provisional = _provisional(book, rig, direction, kinds)
    return BaselineInForce(provisional, None) if provisional is not None else None


def frozen_id(held: BaselineInForce | None) -> str | None:
    """Id of the frozen baseline's row; None: it is provisional, or there is none."""
    return held.record.id if held is not None and held.record is not None else None


def baselines_for(book: Logbook, rig: str, kind: str = "") -> dict[str, BaselineInForce]:
    """Those of ``baseline_for`` by direction; a direction without one isn't there."""
    from throwbook.core.rig import DIRECTIONS

    baselines = {direction: baseline_for(book, rig, direction, kind) for direction in DIRECTIONS}
    return {direction: found for direction, found in baselines.items() if found is not None}


def baselines_of(held: Mapping[str, BaselineInForce]) -> "dict[str, Baseline]":
    """The baselines alone, by direction."""
    return {direction: found.baseline for direction, found in held.items()}


def freeze_baselines(
    book: Logbook,
    rig: str,
    trials: Iterable[LoggedTrial],
    by: str,
    now: datetime,
    reason: str,
    service: str | None = None,
) -> list[BaselineRecord]:
    """Freeze one baseline a direction from these trials (as-found throws and unfit ones left out); old ones stay."""
    from throwbook.core.analysis.baseline import make_baseline
    from throwbook.logbook.serialization import baseline_to_json

    listed = {logged.id: logged for logged in trials}
    found = []
    with book.transaction():
        for direction in sorted({logged.direction for logged in listed.values()}):
            sheets = {logged.placement.sheet for logged in listed.values() if logged.placement}
            chosen = _chosen(book, [book.sheet(sheet) for sheet in sorted(sheets)], direction, listed)
            if not chosen:
                continue
            baseline = make_baseline([_whole(book, logged) for logged in chosen], reason)
            ids = tuple(logged.id for logged in chosen)
            body = baseline_to_json(baseline)
            found.append(
                book.add_baseline(BaselineRecord(rig, direction, ids, body, now, by, reason, service))
            )
    return found


def _provisional(book: Logbook, rig: str, direction: str, kinds: tuple[str, ...]) -> "Baseline | None":
    """From the rig's own sheets of these kinds, where nothing is frozen yet."""
    from throwbook.core.analysis.baseline import make_baseline
    from throwbook.core.sheets.baseline_selection import choose

    held: dict[str, LoggedTrial] = {}
    sheets = []
    for state in book.sheets(rig):
        if state.sheet.kind in kinds:
            logged = book.trials(sheet=state.sheet.id)
            held |= {one.id: one for one in logged}
            sheets.append(_choice_sheet(state, logged))
    choice = choose(sheets, direction)
    if not choice.trials:
        return None
    whole = [_whole(book, held[one.id]) for one in choice.trials]
    return make_baseline(whole, choice.reason, provisional=choice.provisional)


def _chosen(
    book: Logbook, states: Iterable[SheetState], direction: str, among: Mapping[str, LoggedTrial]
) -> list[LoggedTrial]:
    """Trials of these sheets that a baseline may be made from."""
    from throwbook.core.sheets.baseline_selection import choose_from

    found = []
    for state in states:
        sheet = _choice_sheet(state, book.trials(sheet=state.sheet.id))
        choice = choose_from(sheet, direction, provisional=False)
        found += [among[one.id] for one in choice.trials if one.id in among]
    return found


def _choice_sheet(state: SheetState, logged: Iterable[LoggedTrial]) -> "ChoiceSheet":
    from throwbook.core.sheets.baseline_selection import ChoiceSheet
    from throwbook.core.sheets.sheet import filled, sheet_trials

    return ChoiceSheet(state.name, state.state, filled(state), sheet_trials(logged))


def _whole(book: Logbook, logged: LoggedTrial) -> "Assessment":
    """The assessment with its profile."""
    assert logged.judgement is not None  # a trial without one isn't chosen
    return replace(logged.judgement.assessment, profile=book.profile(logged.judgement))


def load_rig(name_or_file: str, logbook: str | None = None) -> "RigFile":
    """The rig that is meant, even if its values contradict each other.

    Raises InputError where there is no such file or name, or a value can't be read.
    """
    from throwbook.files.rig_file import parse_rig, read_rig_file

    if means_a_file(name_or_file):
        return read_rig_file(Path(name_or_file))
    with opened(logbook, read_only=True) as book:
        name = rig_meant(book, name_or_file)
        return parse_rig(book.rig(name).toml, name)


def judge_rig(name_or_file: str, logbook: str | None = None) -> "tuple[Sizing, tuple[str, ...]]":
    """The judgement, and a warning for each key of the file that isn't known."""
    from throwbook.core.sizing.sizing import fit

    read = load_rig(name_or_file, logbook)
    return fit(read.rig), read.warnings


FILE_NAME = "logbook.throwbook"


def logbook_path(given: str | None) -> Path:
    """The path asked for, or the default in the platform's user data folder (which is made)."""
    if given:
        return Path(given).expanduser()
    from platformdirs import user_data_dir

    folder = Path(user_data_dir("throwbook", appauthor=False))
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise OutsideError(
            f"can't make the folder ({error.strerror})",
            str(folder),
            remedy=Remedy.NAME_A_LOGBOOK,
        ) from error
    return folder / FILE_NAME


class _Front:
    """What the program in front wants to hear; set once by it, so that no job has to hand it through."""

    waiting: Waiting | None = None
    completed: Callable[[str], None] | None = None


def when_waiting(say: Waiting) -> None:
    """Have ``say`` called whenever a job waits for another program that is writing."""
    _Front.waiting = say


def when_completed(say: Callable[[str], None]) -> None:
    """Have ``say`` called with the rig in full whenever a part of its name was typed."""
    _Front.completed = say


def journal_folder(logbook: str | Path | None) -> Path:
    """Journals of running trials stand beside the logbook they belong to."""
    path = logbook_path(None if logbook is None else os.fspath(logbook))
    return path.with_name(path.name + ".unfinished")


def opened(given: str | Path | None, read_only: bool = False, waiting: Waiting | None = None) -> Logbook:
    """The logbook asked for, open; use it with ``with``."""
    path = logbook_path(None if given is None else os.fspath(given))
    return open_logbook(path, read_only=read_only, waiting=waiting or _Front.waiting)


def rig_from(revision: RigRevision) -> Rig:
    """The rig that a revision describes."""
    from throwbook.files.rig_file import parse_rig

    return parse_rig(revision.toml, f"rig {revision.rig}").rig


def rig_of(book: Logbook, name: str) -> Rig:
    """The rig as it counts now. Raises InputError for a name that the logbook doesn't have."""
    return rig_from(book.rig(name))


def rig_meant(book: Logbook, typed: str) -> str:
    """The rig of this name, or the only one with ``typed`` in its name: for what reads only. Where something is signed or
    written a name is typed in full. Raises InputError where none or several could be meant.
    """
    names = book.rig_names()
    # a number is typed to its end: loader-1 is another machine than loader-10
    part = re.compile(re.escape(typed.casefold()) + (r"(?!\d)" if typed[-1:].isdigit() else ""))
    inside = [name for name in names if typed and part.search(name.casefold())]
    if typed in names or len(inside) != 1:
        return book.rig(typed).rig
    if _Front.completed is not None:
        _Front.completed(f"{inside[0]}, the only rig that {typed!r} can mean")
    return inside[0]


def units_of(logbook: str | Path | None, rig: str) -> str:
    """Unit system of a rig."""
    with opened(logbook, read_only=True) as book:
        return rig_of(book, rig).units


def rig_for_sheet(book: Logbook, state: SheetState) -> Rig:
    """The rig as it was when the sheet's throws were judged; as it counts now before there are any."""
    used = {one.judgement.rig_revision for one in book.trials(sheet=state.sheet.id) if one.judgement}
    fit = [one for one in book.rig_revisions(state.sheet.rig) if one.id in used]
    latest = current(fit) if fit else None
    return rig_from(latest) if latest is not None else rig_of(book, state.sheet.rig)


@dataclass(frozen=True)
class RigSource:
    """A rig and what is known of it."""

    rig: Rig
    baselines: "dict[str, Baseline]" = field(default_factory=dict)
    """By direction; empty for a rig that comes from a file."""
    kind: str = ""
    """Of the sheet that is filled; empty: any."""


def means_a_file(name_or_file: str) -> bool:
    """Whether a rig is named by its file: it ends in ``.toml``, has a folder before it, or is there."""
    path = Path(name_or_file)
    return path.suffix.lower() == ".toml" or len(path.parts) > 1 or path.is_file()


def find_rig(name_or_file: str, logbook: str | None = None, kind: str = "", sheet: str = "") -> RigSource:
    """The rig that ``name_or_file`` means: a file (``means_a_file``), else a name in ``logbook``.

    ``kind`` of the sheet that is filled says which baselines fit it; with ``sheet``, the name of one in the logbook, it is
    that sheet's own kind. Raises InputError where there is no such file, rig or sheet, or where the rig's values contradict
    each other.
    """
    from throwbook.files.rig_file import read_rig, refuse_contradictions

    if means_a_file(name_or_file):
        return RigSource(read_rig(Path(name_or_file)), kind=kind)

    with opened(logbook, read_only=True) as book:
        rig = rig_of(book, name_or_file)
        refuse_contradictions(rig, name_or_file)
        kind = book.sheet(sheet).sheet.kind if sheet else kind
        return RigSource(rig, baselines_of(baselines_for(book, name_or_file, kind)), kind)
