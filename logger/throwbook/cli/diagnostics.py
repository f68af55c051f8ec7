"""The only writer to stderr, and the only place that knows the exit codes and says a field or a remedy in options.

0 done and nothing failed · 1 done and at least one verdict is ``fail`` · 2 wrong use or bad input · 3 the outside
failed. A command returns its exit code (None means 0).
"""

import errno
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from throwbook.core.quantities.text import printable
from throwbook.errors import Remedy, ThrowbookError

if TYPE_CHECKING:
    from rich.progress import Progress

REMEDIES = {
    Remedy.ADD_CHECK: "Import or enter a check first: throwbook import --rig R --kind seasonal FILE...",
    Remedy.ADD_RIG: "'throwbook rig add FILE.toml' adds one.",
    Remedy.AS_READ: "If you really read it, add --as-read.",
    Remedy.BRING_BACK: "'throwbook rig retire --back' lists it again.",
    Remedy.CHECK_BOARD: "Try: throwbook board check",
    Remedy.CHECK_LOGBOOK: "'throwbook check' shows what is wrong, and in which file.",
    Remedy.RESTORE_BACKUP: "'throwbook backup --restore FILE' does it, and keeps the present file beside it.",
    Remedy.ENTER_AGAIN: "If they are new throws, say so with --again.",
    Remedy.FIND_BOARD: "See the ports with: throwbook board find",
    Remedy.JUDGE_AGAIN: "'throwbook check' judges them again",
    Remedy.JUDGE_FIRST: "Judge it first: throwbook record --recover",
    Remedy.LEAVE_OUT_START: "Leave out --started, or import it by itself.",
    Remedy.LIST_ALL: "'throwbook rig fit' lists all.",
    Remedy.LIST_OPEN: "'throwbook status' lists the open ones.",
    Remedy.LIST_ORDERS: "'throwbook order list' shows where.",
    Remedy.LIST_SERVICES: "'throwbook service list' shows them.",
    Remedy.LIST_SHEETS: "'throwbook sheet list' shows their names.",
    Remedy.NAME_A_LOGBOOK: "Say where: --logbook PATH or THROWBOOK_LOGBOOK.",
    Remedy.OTHER_FILE: "Choose another with --out",
    Remedy.OTHER_FOLDER: "Or give another with --folder.",
    Remedy.TRY_OTHER_READING: "Try the other --reading",
    Remedy.RENAME_ANOTHER_RIG: "--rename OLD=NEW names one it has.",
    Remedy.RIGHT_PHOTOGRAPH: "If it is the right one, add --photo-time-known.",
    Remedy.SAY_NO: "Only a NO at a pin can still be recorded: throwbook sheet see.",
    Remedy.SAY_WHY: 'If it replaces that one, give the reason: --reason "new actuator".',
    Remedy.SET_RATE: "Choose with --rate or --baud",
    Remedy.SHOW_MISSING: "'throwbook sheet show' lists all that is missing.",
    Remedy.SHOW_SHEET: "'throwbook sheet show' lists them.",
    Remedy.START_LOGBOOK: "'throwbook rig add FILE.toml' starts one, or give --logbook PATH.",
    Remedy.TRY_BAUD: "Try --baud, or: throwbook board find",
    Remedy.STEPS_TO_CLEAR: "To clear 'do not use': find the cause and log the repair (throwbook service add). Commission again in full (throwbook sheet plan), then sign (throwbook order clear).",
    Remedy.EXPORT_FIRST: "Write the export first: throwbook export --format parquet FOLDER.",
}


def worded(error: ThrowbookError) -> str:
    """The line of an error, its field and its remedy as options and commands."""
    return error.said(lambda field: f"--{field}", REMEDIES.__getitem__)


def complain(line: str) -> None:
    """One line on stderr."""
    click.echo(f"throwbook: {printable(' '.join(line.split()))}", err=True)


@contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """Give a callback ``(done, total)`` that draws a bar on a terminal and nothing in a pipe."""
    if not (sys.stderr.isatty() and sys.stdout.isatty()):
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        _drawn.append(bar)
        try:
            yield lambda done, total: bar.update(task, completed=done, total=total)
        finally:
            _drawn.remove(bar)


_drawn: "list[Progress]" = []


@contextmanager
def undisturbed() -> Iterator[None]:
    """Draw no bar meanwhile: something is asked."""
    for bar in _drawn:
        bar.stop()
    yield
    for bar in _drawn:
        bar.start()


def _ended(text: str) -> str:
    return text if text.endswith("?") else text.rstrip(".") + "."


def run(command: click.Command, args: list[str] | None = None) -> int:
    """Run ``command`` and give its exit code; every error becomes one line."""
    try:
        outcome = command.main(args=args, prog_name="throwbook", standalone_mode=False)
    except ThrowbookError as error:
        complain(worded(error))
        return error.exit_code
    except click.ClickException as error:
        hint = ""
        if isinstance(error, click.UsageError) and error.ctx is not None:
            hint = f" Try '{error.ctx.command_path} --help'."
        complain(_ended(error.format_message()) + hint)
        return 2
    except click.Abort:
        complain("stopped from the keyboard; nothing more was done.")
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except SystemExit:
        return 0  # click's own answer to a reader that went away, as `head` does: no verdict lies in it
    except OSError as error:
        if (
            sys.platform == "win32" and error.errno == errno.EINVAL and not error.filename
        ):  # a broken pipe there
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 0
        complain(f"{error.filename or 'the system'}: {error.strerror or error}.")
        return 3
    return outcome if isinstance(outcome, int) else 0
