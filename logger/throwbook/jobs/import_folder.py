"""Trace files of many rigs into the logbook: told apart by head or name, each rig's day on a sheet of its own.

What can't be told apart, read or believed stays where it is and is listed with its reason; the rest is stored.
"""

import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook.core.quantities.text import storable
from throwbook.core.records import OPEN, SheetState
from throwbook.core.sheets.sheet import plan_from
from throwbook.errors import Field, InputError, ThrowbookError
from throwbook.files.trace_file import TraceLimits
from throwbook.jobs.find import opened
from throwbook.jobs.import_traces import (
    OTHER_RIG,
    Doubt,
    Imported,
    ImportPlan,
    Known,
    Progress,
    Settle,
    WhichWay,
    digest_of_file,
    file_state,
    import_traces,
    refuse,
    refuse_untold,
)
from throwbook.logbook import Logbook

if TYPE_CHECKING:
    from throwbook.core.trace import Trace
    from throwbook.jobs.assess import TraceReading

TRACE_SUFFIX = ".csv"


@dataclass(frozen=True)
class FolderPlan:
    """What is to be imported."""

    kind: str
    files: Sequence[Path]
    """Files as they are; a folder is the trace files in it, at any depth."""
    answers: Mapping[str, Any] = field(default_factory=dict)
    """Answers to the questions of each sheet."""
    only: Sequence[Path] | None = None
    """Those of them that are taken now; None: all."""


@dataclass(frozen=True)
class LeftFile:
    """A file that was left where it is."""

    file: str
    error: ThrowbookError
    """What is wrong, and what to do."""


@dataclass(frozen=True)
class FolderImport:
    """What came of the files."""

    sheets: tuple[Imported, ...]
    """In the order of rig and day."""
    known: tuple[Known, ...]
    left: tuple[LeftFile, ...]
    others: int = 0
    """Files in the folders that are no trace files by their name."""


ByName = Callable[[str, Sequence[Path]], bool]
"""Called once for each rig that only names of files or folders tell, with those files: is it right?"""


@dataclass(frozen=True)
class TraceInFolder:
    """A trace file and where it was found."""

    path: Path
    names: tuple[str, ...]
    """Of the folders that were asked for and stand above it, and its own without the ending."""


def import_folder(
    logbook: str | Path | None,
    asked: FolderPlan,
    by: str,
    now: datetime,
    *,
    reading: "TraceReading | None" = None,
    settle: Settle = refuse,
    which_way: WhichWay = refuse_untold,
    by_name: ByName = lambda rig, files: False,
    progress: Progress = lambda done, total: None,
) -> FolderImport:
    """Take every file whose rig can be told: by its head, else by a name that ``by_name`` confirms.

    The throws of one rig and day stand on one sheet; an open imported sheet of that day and kind is added to. A sheet is
    stored or not by itself, so what was stored stays when a later one fails, and doing it again goes on from there.
    Raises InputError where there is no trace file at all, OutsideError where the logbook can't be written.
    """
    from throwbook.jobs.assess import TraceReading

    found, others = traces_in(asked.files)
    if asked.only is not None:
        found = [one for one in found if one.path in set(asked.only)]
    taking = _Taking(logbook, asked, by, now, reading or TraceReading(), settle, which_way)
    with opened(logbook, read_only=True) as book:
        groups = taking.sorted_out(book, found, by_name, progress)
    sheets = [done for group in groups for done in taking.stored(group)]
    taking.leave_copies()
    return FolderImport(tuple(sheets), tuple(taking.known), tuple(taking.left), others)


def traces_in(files: Iterable[Path]) -> tuple[list[TraceInFolder], int]:
    """The trace files of folders and files, by folder and name; and how many other files the folders hold.

    Raises InputError for a file that isn't there, or where nothing is a trace file.
    """
    found, others, asked = [], 0, list(files)
    for given in asked:
        if not given.exists():
            raise InputError("there is no such file or folder", str(given), "Check the name and the folder")
        if not given.is_dir():
            found.append(TraceInFolder(given, (given.stem,)))
            continue
        top = given.resolve().name
        for path in _files_under(given):
            if path.suffix.lower() == TRACE_SUFFIX:
                inner = path.relative_to(given)
                found.append(TraceInFolder(path, (top, *inner.parts[:-1], path.stem)))
            else:
                others += 1
    if not found:
        listed = ", ".join(map(str, asked))
        raise InputError(f"no {TRACE_SUFFIX} file in this folder", listed, "Name the folder with the traces")
    return found, others


def _files_under(folder: Path) -> Iterator[Path]:
    """Every file, by folder and name; a folder that may not be read is passed over."""
    for parent, folders, names in os.walk(folder):
        folders.sort()
        yield from (Path(parent, name) for name in sorted(names))


AFTER_A_RIG = r"(?: (?:lock|unlock|(?:19|20)\d\d(?:\d{4}(?:t\d+z?)?)?)(?: |$)|$)"
"""What follows the name of a rig in the name of a folder or file, both as words."""


def rigs_named(names: Iterable[str], rigs: Iterable[str]) -> set[str]:
    """Rigs whose whole name, word by word, stands in one of the names; of two names the longer one counts where it holds the other.

    After the only one comes nothing, a direction or a date: any other word may be the rest of a longer name, of a rig not known
    here, and then no other name tells it either.

    >>> sorted(rigs_named(["2026-03", "Yard Loader 2 lock"], ["yard-loader", "yard-loader-2", "loader-2x"]))
    ['yard-loader-2']
    >>> rigs_named(["yard-loader-3", "yard-loader lock"], ["yard-loader"])
    set()
    """
    wanted = {rig: _words(rig) for rig in rigs}
    found: set[str] = set()
    for name in map(_words, names):
        here = {rig for rig, words in wanted.items() if words and f" {words} " in f" {name} "}
        longest = {
            rig
            for rig in here
            if not any(f" {wanted[rig]} " in f" {wanted[other]} " for other in here - {rig})
        }
        if len(longest) == 1 and not re.search(rf"\b{wanted[min(longest)]}{AFTER_A_RIG}", name):
            return set()
        found |= longest
    return found


def _words(text: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", text.casefold()))


@dataclass(frozen=True)
class RigDay:
    """Files of one rig thrown on one day."""

    rig: str
    day: date | None
    """None: no file says when it was thrown."""
    files: tuple[Path, ...]


class _Taking:
    """One run over the files: what is known and what is left comes together here."""

    def __init__(
        self,
        logbook: str | Path | None,
        asked: FolderPlan,
        by: str,
        now: datetime,
        reading: "TraceReading",
        settle: Settle,
        which_way: WhichWay,
    ) -> None:
        self.logbook, self.asked, self.by, self.now = logbook, asked, by, now
        self.reading, self.settle, self.which_way = reading, settle, which_way
        self.known: list[Known] = []
        self.left: list[LeftFile] = []
        self.copies: dict[str, str] = {}
        """File: the same file before it."""

    def leave(self, file: Path, error: ThrowbookError) -> None:
        self.left.append(LeftFile(str(file), error))

    def leave_copies(self) -> None:
        """What is the same as a file that was left after all is no more known than that."""
        for one in list(self.known):
            if error := self._why_left(self.copies.get(one.file, "")):
                self.known.remove(one)
                self.leave(Path(one.file), error)

    def _why_left(self, file: str) -> ThrowbookError | None:
        return next((one.error for one in self.left if one.file == file), None)

    def sorted_out(
        self, book: Logbook, found: Sequence[TraceInFolder], by_name: ByName, progress: Progress
    ) -> list[RigDay]:
        """New files by rig and day; the others are known or left."""
        rigs, taken = book.rig_names(), book.files_taken(self.asked.kind)
        seen: dict[str, str] = {}
        days: dict[tuple[str, date | None], list[Path]] = {}
        named: dict[str, list[tuple[TraceInFolder, date | None]]] = {}
        for count, one in enumerate(found, 1):
            progress(count, len(found))
            if self._is_known(one.path, taken, seen):
                continue
            try:
                trace = self.reading.read(one.path)
            except ThrowbookError as error:
                self.leave(one.path, error)
                continue
            day = trace.started.date() if trace.started is not None else None
            by_names = rigs_named(one.names, rigs)
            try:
                rig = _rig_of(one.path, trace.rig, by_names, rigs)
            except InputError as error:
                self.leave(one.path, error)
                continue
            if sheets := _in_another_state(book, rig, trace, one.path):
                what = f"a file of this name and start is on sheet {', '.join(sheets)} already, with other samples"
                do = f"See which one is complete. --rig {rig} logs this one too"
                self.leave(one.path, InputError(what, str(one.path), do))
            elif trace.rig:
                if self._head_counts(one.path, trace.rig, by_names):
                    days.setdefault((rig, day), []).append(one.path)
            else:
                named.setdefault(rig, []).append((one, day))
        for rig, files in sorted(named.items()):
            if by_name(rig, [one.path for one, _ in files]):
                for one, day in files:
                    days.setdefault((rig, day), []).append(one.path)
            else:
                for one, _ in files:
                    why = f"only its name gives rig '{rig}'"
                    self.leave(one.path, InputError(why, str(one.path), "If that is right, add --by-name"))
        order = sorted(days, key=lambda each: (each[0], each[1] or date.max))
        return [RigDay(rig, day, tuple(days[rig, day])) for rig, day in order]

    def _is_known(self, path: Path, taken: Mapping[str, str], seen: dict[str, str]) -> bool:
        """Whether the file's own bytes stand in the logbook, or came before among these files."""
        try:
            if path.stat().st_size > TraceLimits().bytes:
                return False  # reading it refuses it
            digest = digest_of_file(path)
        except (OSError, InputError):
            return False  # reading it says what is wrong
        if digest in taken:
            self.known.append(Known(str(path), f"already on sheet {taken[digest]}"))
        elif digest in seen and not self._why_left(seen[digest]):
            self.known.append(Known(str(path), f"the same file as {seen[digest]}"))
            self.copies[str(path)] = seen[digest]
        else:
            seen[digest] = str(path)
            return False
        return True

    def _head_counts(self, path: Path, rig: str, by_names: set[str]) -> bool:
        """Whether head and names agree, or a person says that the head is right."""
        if not by_names or rig in by_names:
            return True
        what = f"its head names rig '{rig}', its folder or name '{', '.join(sorted(by_names))}'"
        try:
            self.settle(Doubt(OTHER_RIG, str(path), what))
        except InputError as error:
            self.leave(path, error)
            return False
        return True

    def stored(self, group: RigDay) -> list[Imported]:
        """The sheet of one rig and day; a file that is refused is left, and the others are tried without it."""
        files = list(group.files)
        while files:
            plan = ImportPlan(
                group.rig, self.asked.kind, files, self.asked.answers, sheet=self._sheet_for(group)
            )
            try:
                done = import_traces(
                    self.logbook,
                    plan,
                    self.by,
                    self.now,
                    reading=self.reading,
                    settle=self.settle,
                    which_way=self.which_way,
                )
            except ThrowbookError as error:
                refused = [path for path in files if _is_about(error, path)]
                if not refused and not isinstance(error, InputError):
                    raise  # the logbook can't be written
                refused = refused or files
                for path in refused:
                    self.leave(path, error)
                files = [path for path in files if path not in refused]
            else:
                self.known.extend(done.known)
                return [done] if done.sheet is not None else []
        return []

    def _sheet_for(self, group: RigDay) -> str:
        """An open sheet of the same rig, kind and day that holds imported throws alone; empty: there is none."""
        with opened(self.logbook, read_only=True) as book:
            for state in reversed(book.sheets(group.rig)):
                if self._is_of_the_day(book, state, group.day):
                    return state.name
        return ""

    def _is_of_the_day(self, book: Logbook, state: SheetState, day: date | None) -> bool:
        if day is None or state.state != OPEN or state.sheet.kind != self.asked.kind:
            return False
        if not plan_from(state.sheet.plan).imported:
            return False
        starts = [one.trial.started for one in book.trials(sheet=state.sheet.id)]
        return bool(starts) and all(start is not None and start.date() == day for start in starts)


def _in_another_state(book: Logbook, rig: str, trace: "Trace", path: Path) -> list[str]:
    """Sheets on which this file stands with other samples: it was logged before it was whole, and is no second throw."""
    if trace.started is None or book.made_of(rig, trace):
        return []
    return book.started_as(rig, trace.started, storable(path.name))


def _rig_of(path: Path, head: str, by_names: set[str], rigs: Sequence[str]) -> str:
    """The rig of a file. Raises InputError where nothing tells it."""
    if head in rigs:
        return head
    if head:
        what = f"its head names rig '{head}', which is not in this logbook"
        raise InputError(what, str(path), "Add that rig, then import again")
    if len(by_names) == 1:
        return next(iter(by_names))
    what = "neither its head nor its name says which rig it is"
    if by_names:
        what = f"its folder and name can mean {', '.join(sorted(by_names))}"
    raise InputError(what, str(path), "Import it by itself with --rig")


def _is_about(error: ThrowbookError, path: Path) -> bool:
    """Whether an error names this file, a line of it or one of its movements."""
    where = storable(str(error.where))
    return (
        not isinstance(error.where, Field)
        and re.match(rf"{re.escape(storable(str(path)))}($|[,#:])", where) is not None
    )


STILL_S = 5.0
"""A file that has not changed for so long has stopped growing; the same holds for a folder without new files (assumed)."""


class FillingFolder:
    """Folders that are watched while they fill: which files can be taken now. It looks, and never waits.

    By looking alone, so that it works on every system and on a network drive; the clock is the caller's, as the drive's
    may be another.
    """

    def __init__(self, folders: Sequence[Path], still_s: float = STILL_S) -> None:
        self._folders, self._still_s = folders, still_s
        self._states: dict[Path, tuple[tuple[int, int], float]] = {}
        self._taken: dict[Path, tuple[int, int]] = {}
        self._shut: set[Path] = set()
        self._came_s = 0.0

    def look(self, at_s: float) -> list[Path]:
        """Files that have stopped growing, each once for each state; none while new ones still come, so that the throws of a day come together.

        One that doesn't open is given too, so that it is told, and once more as soon as it opens: on Windows another program
        can keep a file to itself, and neither its size nor its time changes when it lets go.

        ``at_s``: a clock that only goes forward [s].
        """
        states = {}
        for path in (path for folder in self._folders for path in _files_under(folder)):
            state = file_state(path)
            if path.suffix.lower() != TRACE_SUFFIX or state is None:
                continue
            before = self._states.get(path)
            if before is None:
                self._came_s = at_s
            states[path] = before if before is not None and before[0] == state else (state, at_s)
        self._states = states
        if at_s - self._came_s < self._still_s:
            return []
        for path in [path for path in self._shut if path not in states or _opens(path)]:
            self._shut.remove(path)
            self._taken.pop(path, None)
        still = [
            path
            for path, (state, since_s) in states.items()
            if at_s - since_s >= self._still_s and self._taken.get(path) != state
        ]
        self._shut |= {path for path in still if not _opens(path)}
        self._taken |= {path: states[path][0] for path in still}
        return still


def _opens(path: Path) -> bool:
    try:
        with open(path, "rb"):
            return True
    except OSError:
        return False
