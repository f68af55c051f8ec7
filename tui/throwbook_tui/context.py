"""What every screen works with, and how one screen opens another.

What every screen works with: which logbook, who writes, what time it is, how a throw is recorded.

Every screen by its name. A screen opens another one by that name and imports none: ``self.open_screen("trend", rig)``.

Screens lead to each other in circles (rig, way back, sheet, throw, way back); the code doesn't. A screen is loaded when
it is first opened.

What a recording is asked for, from what the desk and the rig say. Nothing of Textual.
"""

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual.app import App
from textual.screen import Screen

from throwbook.core.quantities.text import file_name
from throwbook.core.records import BENCH

if TYPE_CHECKING:
    from throwbook.core.analysis.live import LiveFigures
    from throwbook.jobs.find import RigSource
    from throwbook.jobs.record import RecordPlan


def _recording(
    plan: "RecordPlan",
    *,
    now: Callable[[], datetime],
    on_live: "Callable[[LiveFigures], None]",
    on_note: Callable[[str], None],
    on_ready: Callable[[Any], None],
) -> Any:
    from throwbook.jobs.record import Recording

    return Recording(plan, now=now, on_live=on_live, on_note=on_note, on_ready=on_ready)


def _find_boards(names: Sequence[str] = ()) -> Any:
    from throwbook.jobs.board import find_boards

    return find_boards(names)


OPENS_WITHIN_S = 3.0
"""A viewer that still runs after this has opened the file."""


def show_file(path: str) -> int:
    """Open a file with what this computer has for it; not nought: it has nothing. Nothing it says gets onto the screen."""
    import subprocess

    opener, quiet = "open" if sys.platform == "darwin" else "xdg-open", subprocess.DEVNULL
    try:
        if sys.platform == "win32":
            os.startfile(path)
            return 0
        viewer = subprocess.Popen([opener, path], stdin=quiet, stdout=quiet, stderr=quiet)
        return viewer.wait(OPENS_WITHIN_S)
    except subprocess.TimeoutExpired:
        return 0
    except OSError:
        return 1


def local_now() -> datetime:
    """This moment, with its offset from UTC."""
    return datetime.now().astimezone()


LOCALES = ("LC_ALL", "LC_CTYPE", "LANG")
"""The first of them that is set says which letters the terminal takes."""
PLAIN_TERMINALS = ("linux", "vt100", "vt102", "vt220", "dumb")
"""Their letters hold no dots to draw with. From memory."""


def plain_letters() -> bool:
    """Whether only ASCII may be drawn: asked for, or the terminal takes nothing else.

    Python itself writes UTF-8 under the locale C, so its encoding alone doesn't tell.
    """
    locale = next((os.environ[name] for name in LOCALES if os.environ.get(name)), "")
    if os.environ.get("THROWBOOK_ASCII") or locale in ("C", "POSIX"):
        return True
    if os.environ.get("TERM") in PLAIN_TERMINALS:
        return True
    encoding = (sys.stdout.encoding or "ascii").lower().replace("-", "")
    return encoding not in ("utf8", "cp65001")


@dataclass
class Desk:
    """One for the whole program; screens read it, only the practice switch changes ``logbook``."""

    logbook: str | None = None
    by: str = ""
    now: Callable[[], datetime] = local_now
    monotonic: Callable[[], float] = time.monotonic
    recording: Callable[..., Any] = _recording
    """Makes a recording from a plan; tests hand in one that plays a simulated throw."""
    find_boards: Callable[..., Any] = _find_boards
    """Asks at the ports of this computer (or those named) who is there."""
    show_file: Callable[[str], int] = show_file
    """Opens a file with what the computer has for it; not nought: it has nothing."""
    papers: Path | None = None
    """Where papers go, a folder a rig; None: "Throwbook" in the person's documents."""
    ascii: bool = field(default_factory=plain_letters)
    port: str = ""
    """Port of the board that was used last."""
    baud: int = 115_200
    rate_hz: int = 200
    """Samples a second that a board is asked for."""
    practice: bool = False
    """A practice logbook is open: nothing in it speaks for a real machine."""
    simulated: bool = False
    """The logbook that was opened says of itself that it is one for practice, as the demo's does."""
    rests: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Rig: when its rest is over by ``monotonic`` [s], and how long it was [s]."""
    ends: threading.Event = field(default_factory=threading.Event)
    """The program ends: nobody will answer any more."""
    judging_again: bool = False
    """What an earlier version judged is being judged again: the logbook is written all the while."""
    recordings: int = 0
    """Throws that are being recorded or kept."""
    stop_rehearsal: threading.Event | None = None
    """Ends the simulated board that is open."""
    real_logbook: str | None = None
    """Where to go back to from practice."""

    @contextmanager
    def at_work(self) -> Iterator[None]:
        """A throw is being recorded or kept meanwhile: the program's end waits for it."""
        self.recordings += 1
        try:
            yield
        finally:
            self.recordings -= 1

    def end_practice(self) -> None:
        """Back to the real logbook; the simulated board ends."""
        if self.stop_rehearsal is not None:
            self.stop_rehearsal.set()
        self.practice, self.logbook, self.port, self.stop_rehearsal = False, self.real_logbook, "", None

    def papers_of(self, whose: str) -> Path:
        """Folder for the papers of a rig, or of the whole logbook."""
        if self.papers is None:
            from platformdirs import user_documents_path

            self.papers = user_documents_path() / "Throwbook"
        return self.papers / file_name(whose)

    @property
    def today(self) -> date:
        """By the clock that was handed in."""
        return self.now().date()


DOORS = {
    "board": ("throwbook_tui.screens.board", "BoardScreen"),
    "board settings": ("throwbook_tui.screens.board", "BoardSettingsScreen"),
    "calibrate": ("throwbook_tui.screens.calibrate", "CalibrateScreen"),
    "cautions": ("throwbook_tui.screens.sheet_plan", "CautionsScreen"),
    "clear": ("throwbook_tui.screens.status", "ClearScreen"),
    "confirm": ("throwbook_tui.screens.dialogs", "ConfirmScreen"),
    "enter": ("throwbook_tui.screens.enter", "EnterScreen"),
    "find rigs": ("throwbook_tui.screens.find_rigs", "FindRigsScreen"),
    "help": ("throwbook_tui.screens.dialogs", "HelpScreen"),
    "import": ("throwbook_tui.screens.import_files", "ImportScreen"),
    "leave out": ("throwbook_tui.screens.sheet", "LeaveOutScreen"),
    "meter": ("throwbook_tui.screens.meters", "MeterScreen"),
    "meters": ("throwbook_tui.screens.meters", "MetersScreen"),
    "missing": ("throwbook_tui.screens.sign_off", "MissingScreen"),
    "papers": ("throwbook_tui.screens.papers", "PapersScreen"),
    "photograph folder": ("throwbook_tui.screens.photographs", "PhotographFolderScreen"),
    "photographs": ("throwbook_tui.screens.photographs", "PhotographsScreen"),
    "practice": ("throwbook_tui.screens.practice", "PracticeScreen"),
    "questions": ("throwbook_tui.screens.sheet_plan", "QuestionsScreen"),
    "record": ("throwbook_tui.screens.record", "RecordScreen"),
    "recover": ("throwbook_tui.screens.recover", "RecoverScreen"),
    "restore": ("throwbook_tui.screens.restore", "RestoreScreen"),
    "rig": ("throwbook_tui.screens.rig", "RigScreen"),
    "rig setup": ("throwbook_tui.screens.rig_setup", "RigSetupScreen"),
    "rigs": ("throwbook_tui.screens.rigs", "RigsScreen"),
    "search": ("throwbook_tui.screens.search", "SearchScreen"),
    "service": ("throwbook_tui.screens.service", "ServiceScreen"),
    "service view": ("throwbook_tui.screens.service", "ServiceViewScreen"),
    "sheet": ("throwbook_tui.screens.sheet", "SheetScreen"),
    "sheet plan": ("throwbook_tui.screens.sheet_plan", "SheetPlanScreen"),
    "sighting": ("throwbook_tui.screens.sighting", "SightingScreen"),
    "sign": ("throwbook_tui.screens.sign_off", "SignScreen"),
    "statement": ("throwbook_tui.screens.sign_off", "StatementScreen"),
    "take out": ("throwbook_tui.screens.status", "TakeOutScreen"),
    "trend": ("throwbook_tui.screens.trend", "TrendScreen"),
    "trial": ("throwbook_tui.screens.trial", "TrialScreen"),
    "way back": ("throwbook_tui.screens.status", "StepsToClearScreen"),
    "where": ("throwbook_tui.screens.dialogs", "WhereScreen"),
}


def screen(name: str, *args: Any, **more: Any) -> Screen[Any]:
    """The screen of that name, made from what its ``__init__`` takes."""
    module, made_by = DOORS[name]
    made: Screen[Any] = getattr(import_module(module), made_by)(*args, **more)
    return made


def start_sheet(app: App[Any], rig: str, kind: str = "", by_hand: bool = False) -> None:
    """Three screens in a row: cautions, then the plan, then the sheet itself."""

    def planned(sheet: str | None) -> None:
        if sheet:
            app.push_screen(screen("sheet", sheet))

    def read(all_of_it: bool | None) -> None:
        if all_of_it:
            app.push_screen(screen("sheet plan", rig, kind, by_hand), planned)

    app.push_screen(screen("cautions", rig, kind or "commissioning"), read)


def throw_plan(
    desk: "Desk", source: "RigSource", rig_ref: str, direction: str, kind: str, ambient_c: float | None
) -> "RecordPlan":
    """One throw on the board that is chosen; its journal beside the logbook that is open."""
    from throwbook.jobs.calibrate import calibration_finder
    from throwbook.jobs.find import journal_folder
    from throwbook.jobs.record import RecordPlan

    return RecordPlan(
        port=desk.port,
        baud=desk.baud,
        rate_hz=desk.rate_hz,
        rig=source.rig,
        baselines=source.baselines,
        on_bench=kind == BENCH,
        ambient_c=ambient_c,
        rig_ref=rig_ref,
        direction=direction,
        folder=journal_folder(desk.logbook),
        calibration_of=calibration_finder(desk.logbook),
    )
