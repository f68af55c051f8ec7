"""The first screen: every rig with where it stands and when it is next due."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Static

from throwbook.core.listing import ListColumn, Listing
from throwbook.core.quantities.text import counted
from throwbook.errors import ThrowbookError
from throwbook_tui.background import Noted
from throwbook_tui.present import BAD, WARN, Cell, spoken, status_cell
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import RowTable, lines

if TYPE_CHECKING:
    from throwbook.jobs.judgements import JudgedAgain
    from throwbook.jobs.rig_list import Overview
    from throwbook.jobs.unfinished import Unfinished

EMPTY = (
    Cell("There are no rigs in this logbook yet.", "strong"),
    Cell(""),
    Cell(
        "A rig is one actuator on one lock mechanism. Press N and enter the actuator's data-sheet values. Each value is checked as you type, and the panel on the same screen shows whether the actuator suits the mechanism."
    ),
    Cell(""),
    Cell("No board? Set up a rig first, then press X on its screen to practise on a simulated board."),
)


AGAIN = "Judging again what an earlier version judged ..."
ALL_RETIRED = (Cell("Every rig in this logbook is retired. R shows them; R again hides them.", "strong"),)


class RigsScreen(Page[None]):
    """The list of rigs."""

    HELP = "rigs"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter", "open", "open", "Enter", priority=True),
        key("n", "new_rig", "new rig"),
        key("b", "board", "boards"),
        key("m", "meters", "meters"),
        key("l", "logbook", "logbook"),
        key("f", "search", "find", "F"),
        key("r", "retired", "retired"),
        key("j", "judge", "judge recordings"),
        key("f8", "app.day_or_night", "light/dark", "F8"),
        key("ctrl+q", "app.leave", "leave", "Ctrl-Q"),
        key("escape", "back", "end practice", "Esc"),
    ]

    def __init__(self) -> None:
        from throwbook.jobs.rig_list import RIGS

        super().__init__()
        status = ListColumn(
            "status", lambda one: status_cell(one.rig_status.status, one.rig_status.commissioned)
        )
        self._columns = Listing((RIGS["rig"], status, RIGS["due"], RIGS["last"], RIGS["throws"]))
        self._found: Overview | None = None
        self._unread = False
        self._offered = False
        self._judged_again = False
        self._retired = False

    def body(self) -> Iterator[Widget]:
        """The table, or what to do first."""
        yield Static(id="first")
        yield RowTable(self._columns.heads, right=self._columns.right, id="rigs")

    def on_mount(self) -> None:
        """Load; look for recordings that broke off."""
        self.head("rigs")
        self.reload()

    def on_screen_resume(self) -> None:
        """Something may have changed while another screen was open; a damaged logbook may have been restored."""
        if self._found is not None or self._unread:
            self.reload()

    def reload(self) -> None:
        """Read the logbook again."""
        from throwbook.jobs.rig_list import overview

        logbook, today = self.desk.logbook, self.desk.today
        self.work("overview", lambda: overview(logbook, today))

    def done_overview(self, found: "Overview") -> None:
        """Show what was found."""
        self._found, self._unread = found, False
        self._retired = self._retired and any(one.retired for one in found.rigs)
        self.desk.simulated = any(one.rig_status.practice for one in found.rigs)
        self.repaint()
        self.refresh_bindings()
        self.tell(unfinished_line(found.unfinished), WARN)
        if found.unfinished and not self._offered:
            self._offered = True
            self.action_judge()
        if found.judged_earlier and not self._judged_again:
            self._judged_again = True
            self.judge_again()

    def failed_overview(self, error: ThrowbookError) -> None:
        """It can't be read: said here, and looked at again on the way back from restoring it."""
        self._unread = True
        self.tell(spoken(error), BAD)

    def judge_again(self) -> None:
        """After an upgrade: what an earlier version judged; it goes on while the list is used."""
        from throwbook.jobs.logbook_care import judge_stored_again

        desk = self.desk
        logbook, now = desk.logbook, desk.now()

        def progress(done: int, total: int) -> None:
            self.post_message(Noted(f"{AGAIN} {done} of {total}."))

        self.tell(AGAIN, WARN)
        desk.judging_again = True
        self.work("again", lambda: judge_stored_again(logbook, now, progress))

    def on_noted(self, message: Noted) -> None:
        """How far it is."""
        message.stop()
        self.tell(message.line, WARN)

    def done_again(self, done: "JudgedAgain") -> None:
        """The list as it stands now."""
        self.desk.judging_again = False
        self.reload()

    def failed_again(self, error: ThrowbookError) -> None:
        """It may only be read, or another program writes: the rigs say what isn't judged yet."""
        self.desk.judging_again = False
        self.tell(spoken(error), WARN)

    def action_judge(self) -> None:
        """Recordings that were never judged: offered at once, and whenever there are any."""
        self.open_screen("recover")

    def repaint(self) -> None:
        """Fill the table."""
        super().repaint()
        found = self._found
        if found is None:
            return
        table, first = self.query_one(RowTable), self.query_one("#first", Static)
        shown = [one for one in found.rigs if bool(one.retired) == self._retired]
        hidden = len(found.rigs) - len(shown)
        kept_out = f", {hidden} retired not shown" if hidden and not self._retired else ""
        self.head(f"{'retired ' * self._retired}rigs of {found.path.name}{kept_out}")
        table.display, first.display = bool(shown), not shown
        first.update(lines(self.app, ALL_RETIRED if found.rigs else EMPTY))
        table.fill([(one.name, self._columns.row(one)) for one in shown])
        if shown:
            table.focus()
        self.refresh_bindings()

    def action_retired(self) -> None:
        """Sold and scrapped rigs by themselves, and back to those that are looked after."""
        self._retired = not self._retired
        self.repaint()

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """Nothing is offered that the logbook doesn't hold."""
        rigs = self._found.rigs if self._found is not None else ()
        if action == "judge":
            return self._found is not None and bool(self._found.unfinished)
        if action == "search":
            return bool(rigs)
        if action == "retired":
            return any(one.retired for one in rigs)
        if action == "open":
            return any(bool(one.retired) == self._retired for one in rigs)
        return action != "back" or self.desk.practice

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        """Enter or a click on a rig."""
        if event.row_key.value:
            self.open_rig(event.row_key.value)

    def action_open(self) -> None:
        """Enter where no table has the focus."""
        chosen = self.query_one(RowTable).chosen
        if chosen:
            self.open_rig(chosen)

    def open_rig(self, name: str) -> None:
        """Go to one rig."""
        self.open_screen("rig", name)

    def action_new_rig(self) -> None:
        """Set up a rig; when it is kept, its screen opens."""
        self.open_screen("rig setup", then=lambda name: self.open_rig(name) if name else None)

    def action_meters(self) -> None:
        """What a person reads: stopwatch, clamp meter, multimeter."""
        self.open_screen("meters")

    def action_board(self) -> None:
        """Find and check a board."""
        self.open_screen("board")

    def action_logbook(self) -> None:
        """Export, backup, check."""
        self.open_screen("papers", None)

    def action_search(self) -> None:
        """Words in everything that was written."""
        self.open_screen("search")

    def action_back(self) -> None:
        """From the practice logbook back to the real one; there is nothing before the first screen."""
        if self.desk.practice:
            self.desk.end_practice()
            self.reload()


def unfinished_line(recordings: "Sequence[Unfinished]") -> str:
    """What stands below the list while recordings aren't judged."""
    if not recordings:
        return ""
    rigs = ", ".join(dict.fromkeys(one.rig or "an unknown rig" for one in recordings))
    return f"{counted(len(recordings), 'recording')} never judged ({rigs}): press J."
