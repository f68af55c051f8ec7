"""``import`` without ``--rig``: files of many rigs, once or while a folder fills."""

import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import diagnostics, output
from throwbook.cli.options import can_ask, now
from throwbook.core.quantities.text import counted, storable
from throwbook.errors import InputError, OutsideError

if TYPE_CHECKING:
    from throwbook.core.assessment import Assessment
    from throwbook.core.records import LoggedTrial
    from throwbook.jobs.assess import TraceReading
    from throwbook.jobs.import_folder import FolderImport, FolderPlan, LeftFile
    from throwbook.jobs.import_traces import Doubt, Imported, WhichWay

LOOK_EVERY_S = 1.0


def import_rigs(
    logbook: str | None,
    plan: "FolderPlan",
    by: str,
    reading: "TraceReading",
    allow: tuple[str, ...],
    which_way: "WhichWay",
    *,
    by_name: bool,
    watch: bool,
    as_json: bool,
) -> int:
    """Take the files and show what came of them; gives the exit code."""
    from throwbook.jobs.import_folder import import_folder
    from throwbook.jobs.import_traces import refuse

    confirmed = _ByName(by_name)

    def settle(doubt: "Doubt") -> None:
        if doubt.kind not in allow:
            refuse(doubt)

    def take(only: Sequence[Path] | None) -> int:
        with diagnostics.progress("Files") as progress:
            done = import_folder(
                logbook,
                replace(plan, only=only),
                by,
                now(),
                reading=reading,
                settle=settle,
                which_way=which_way,
                by_name=confirmed,
                progress=progress,
            )
        if as_json:
            output.json_line(_record(done))
        else:
            _print(done, brief=watch)
        output.flush()
        return _exit_code(done)

    return _watch(plan.files, take, as_json) if watch else take(None)


def _watch(folders: Sequence[Path], take: "Callable[[Sequence[Path]], int]", as_json: bool) -> int:
    """Look until Ctrl-C; gives the exit code of all that was taken."""
    from throwbook.jobs.import_folder import FillingFolder

    for folder in folders:
        if not folder.is_dir():
            raise InputError("this is not a folder", str(folder), "--watch takes folders only")
    listed = ", ".join(map(str, folders))
    filling, worst = FillingFolder(folders), 0
    try:
        if not as_json:
            output.line(f"Watching {listed}. Each file is taken when it has stopped growing. Ctrl-C ends it.")
            output.flush()
        while True:
            for folder in folders:
                if not folder.is_dir():
                    raise OutsideError(
                        "this folder is gone", str(folder), "Bring it back, then watch it again"
                    )
            if still := filling.look(time.monotonic()):
                try:
                    worst = max(worst, take(still))
                except InputError as error:  # gone before it was taken; the next ones count
                    diagnostics.complain(diagnostics.worded(error))
                    worst = 2
            time.sleep(LOOK_EVERY_S)
    except (KeyboardInterrupt, click.Abort):
        if not as_json:
            output.line(f"No longer watching {listed}. What was taken is in the logbook.")
        return worst


class _ByName:
    """Whether a rig that only a name tells is right: said beforehand, or asked once for each rig at a terminal."""

    def __init__(self, said: bool) -> None:
        self._said, self._answers = said, dict[tuple[str, Path], bool]()

    def __call__(self, rig: str, files: Sequence[Path]) -> bool:
        """Also what was answered before for the same folders: another folder may be that of another rig."""
        if self._said or not can_ask():
            return self._said
        places = {(rig, file.parent) for file in files}
        if not places <= self._answers.keys():
            with diagnostics.undisturbed():
                diagnostics.complain(
                    f"{counted(len(files), 'file')} with no rig in the head, such as {files[0]}."
                )
                question = f"By folder or file name this is rig '{rig}'. Is that right?"
                self._answers |= dict.fromkeys(places, click.confirm(question, default=False, err=True))
        return all(self._answers[place] for place in places)


def judged(logged: "LoggedTrial") -> "Assessment":
    """What an import judged a throw to be."""
    assert logged.judgement is not None  # an import has just written it
    return logged.judgement.assessment


def sheet_record(done: "Imported") -> dict[str, Any]:
    """What an import of one rig did, as JSON."""
    return {
        "sheet": done.sheet.name if done.sheet else None,
        "logged": [
            {
                "trial": logged.id,
                "file": logged.placement.file if logged.placement else "",
                "position": logged.placement.position if logged.placement else None,
                "movement": judged(logged).movement,
                "movements": judged(logged).movements,
                "direction": logged.direction,
                "as_found": logged.placement.as_found if logged.placement else None,
                "verdict": judged(logged).verdict,
            }
            for logged in done.logged
        ],
        "known": [{"file": each.file, "where": each.where} for each in done.known],
        "read_as": dict(done.read_as),
        "columns_kept": dict(done.unknown_columns),
        "status": done.status.level,
        "because": [one.sentence for one in done.status.open],
    }


def _exit_code(done: "FolderImport") -> int:
    """2: files were left. 1: a throw failed."""
    if done.left:
        return 2
    failed = any(judged(one).verdict == "fail" for sheet in done.sheets for one in sheet.logged)
    return 1 if failed else 0


def _why(left: "LeftFile") -> str:
    """The error's line without the name of the file, which stands beside it."""
    line = diagnostics.worded(left.error)
    for name in (left.file, storable(left.file)):
        line = line.removeprefix(" ".join(name.split()))  # as the line has it
    return line.lstrip(":, ")


def _record(done: "FolderImport") -> dict[str, Any]:
    return {
        "sheets": [{"rig": _rig(one), **sheet_record(one)} for one in done.sheets],
        "known": [{"file": each.file, "where": each.where} for each in done.known],
        "left": [{"file": each.file, "why": _why(each)} for each in done.left],
        "other_files": done.others,
    }


def _rig(done: "Imported") -> str:
    return done.sheet.sheet.rig if done.sheet is not None else ""


def _print(done: "FolderImport", *, brief: bool) -> None:
    from throwbook.core.status.status_text import caution
    from throwbook.core.wording import VERDICTS

    rows: list[list[str | output.Cell]] = []
    for each in done.sheets:
        assert each.sheet is not None  # only what was stored is listed
        verdicts = Counter(judged(one).verdict for one in each.logged)
        days = sorted({f"{one.when:%Y-%m-%d}" for one in each.logged if one.when is not None})
        told = ", ".join(f"{count} {VERDICTS[verdict].column}" for verdict, count in sorted(verdicts.items()))
        stands = each.status.level if each.status.open else "no open order"
        cells = [each.sheet.sheet.rig, each.sheet.name, ", ".join(days), str(len(each.logged))]
        rows.append([*cells, output.Cell(told, "bad" if "fail" in verdicts else ""), stands])
    if rows:
        output.table(["rig", "sheet", "day", "throws", "verdicts", "status"], rows, right=[3])
    alike: dict[tuple[Path, str], list[str]] = {}
    for left in done.left:
        path = Path(left.file)
        alike.setdefault((path.parent, _why(left)), []).append(path.name)
    for (folder, why), names in alike.items():
        which = folder / names[0] if len(names) == 1 else f"{folder}: {', '.join(sorted(names))}"
        output.line(f"left: {which}: {why}", style="warn", hang=2)
    throws = sum(len(each.logged) for each in done.sheets)
    said = [f"{counted(throws, 'throw')} logged on {counted(len(done.sheets), 'sheet')}"]
    said += [f"{counted(len(done.known), 'file')} in the logbook already"] if done.known else []
    said += [f"{counted(len(done.left), 'file')} left where they are"] if len(done.left) > 1 else []
    said += ["1 file left where it is"] if len(done.left) == 1 else []
    said += [f"{counted(done.others, 'file')} passed over: not .csv"] if done.others and not brief else []
    output.line("; ".join(said) + ".")
    cautions: dict[str, list[str]] = {}
    for rig, status in {_rig(each): each.status for each in done.sheets}.items():
        cautions.setdefault(caution(status), []).append(rig)
    for text, rigs in cautions.items():
        if text:
            output.line(f"{', '.join(rigs)}: {text}", style="bad")
    if any(each.status.open for each in done.sheets):
        output.line("'throwbook status RIG' shows why a rig has an open order.")
