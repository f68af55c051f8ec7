"""Every screen by its name. A screen opens another one by that name and imports none: ``self.open_screen("trend", rig)``.

Screens lead to each other in circles (rig, way back, sheet, throw, way back); the code doesn't. A screen is loaded when
it is first opened.
"""

from importlib import import_module
from typing import Any

from textual.app import App
from textual.screen import Screen

DOORS = {
    "board": ("tui.screens.board", "BoardScreen"),
    "board settings": ("tui.screens.board_settings", "BoardSettingsScreen"),
    "calibrate": ("tui.screens.calibrate", "CalibrateScreen"),
    "cautions": ("tui.screens.cautions", "CautionsScreen"),
    "clear": ("tui.screens.clear", "ClearScreen"),
    "confirm": ("tui.screens.confirm", "ConfirmScreen"),
    "enter": ("tui.screens.enter", "EnterScreen"),
    "help": ("tui.screens.help", "HelpScreen"),
    "leave out": ("tui.screens.leave_out", "LeaveOutScreen"),
    "missing": ("tui.screens.missing", "MissingScreen"),
    "papers": ("tui.screens.papers", "PapersScreen"),
    "practice": ("tui.screens.practice", "PracticeScreen"),
    "questions": ("tui.screens.questions", "QuestionsScreen"),
    "record": ("tui.screens.record", "RecordScreen"),
    "recover": ("tui.screens.recover", "RecoverScreen"),
    "rig": ("tui.screens.rig", "RigScreen"),
    "rig setup": ("tui.screens.rig_setup", "RigSetupScreen"),
    "rigs": ("tui.screens.rigs", "RigsScreen"),
    "service": ("tui.screens.service", "ServiceScreen"),
    "service view": ("tui.screens.service_view", "ServiceViewScreen"),
    "sheet": ("tui.screens.sheet", "SheetScreen"),
    "sheet plan": ("tui.screens.sheet_plan", "SheetPlanScreen"),
    "sighting": ("tui.screens.sighting", "SightingScreen"),
    "sign": ("tui.screens.sign", "SignScreen"),
    "statement": ("tui.screens.statement", "StatementScreen"),
    "take out": ("tui.screens.take_out", "TakeOutScreen"),
    "trend": ("tui.screens.trend", "TrendScreen"),
    "trial": ("tui.screens.trial", "TrialScreen"),
    "way back": ("tui.screens.way_back", "WayBackScreen"),
    "where": ("tui.screens.where", "WhereScreen"),
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
            app.push_screen(screen("sheet", sheet, by_hand=by_hand))

    def read(all_of_it: bool | None) -> None:
        if all_of_it:
            app.push_screen(screen("sheet plan", rig, kind), planned)

    app.push_screen(screen("cautions", rig, kind or "commissioning"), read)
