"""The first screen: the rigs that need somebody first, with why and the next step; found, sorted, put on the wall."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Static

from throwbook.core.listing import ListColumn, Listing
from throwbook.core.quantities.text import counted
from throwbook.core.wording import BEFORE_WORK, FIRST_RIGS
from throwbook.errors import ThrowbookError
from throwbook.jobs.rig_list import RIGS, Wanted, pick, said
from throwbook_tui.background import Noted
from throwbook_tui.present import BAD, GOOD, WARN, Cell, spoken, status_cell
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import RowTable, lines

if TYPE_CHECKING:
    from pathlib import Path

    from throwbook.jobs.judgements import JudgedAgain
    from throwbook.jobs.rig_list import Listed, Overview
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


SORTS = ("need", "rig", "status", "place", "due", "last", "throws")
"""Columns that S goes through."""
TRENDS = "Calculating which rigs are getting worse ..."
WITHOUT_TRENDS = "The list does not show which rigs are getting worse."
NONE_FIT = (Cell("No rig fits. Esc shows all again, O looks for others.", "strong"),)
ROOM, WIDE = 110, 140
"""Columns of the screen from which on the list has more of its own."""


def columns_for(width: int, sort: str = "need") -> tuple[ListColumn, ...]:
    """What there is room for; the column that sorts is always among them."""
    names = ["rig", "status", "why", "step"]
    names += ["due"] * (width >= ROOM) + ["last", "place"] * (width >= WIDE)
    if sort not in ("need", *names):
        names = [*names[: -1 if width < ROOM else None], sort]
    status = ListColumn("status", lambda one: status_cell(one.rig_status.status, one.rig_status.commissioned))
    return tuple((RIGS | {"status": status})[name] for name in names)


AGAIN = "Judging again what an earlier version judged ..."
ALL_RETIRED = (Cell("Every rig in this logbook is retired. R shows them; R again hides them.", "strong"),)


class RigsScreen(Page[None]):
    """The list of rigs."""

    HELP = "rigs"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter", "open", "open", "Enter", priority=True),
        key("o,slash", "only", "only some"),
        key("s", "sort", "sort"),
        key("a", "all", "all/first ten"),
        key("t", "trend", "trend"),
        key("n", "new_rig", "new rig"),
        key("i", "import", "import"),
        key("w", "wall", "wall list"),
        key("b", "board", "boards"),
        key("m", "meters", "meters"),
        key("l", "logbook", "logbook"),
        key("f", "search", "find", "F"),
        key("r", "retired", "retired"),
        key("j", "judge", "judge recordings"),
        key("f8", "app.day_or_night", "light/dark", "F8"),
        key("ctrl+q", "app.leave", "leave", "Ctrl-Q"),
        key("escape", "back", "end practice", "Esc"),
        key("escape", "only_none", "show all again", "Esc"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._found: Overview | None = None
        self._shown: list[Listed] = []
        self._wanted: Wanted | None = None
        """What is looked for; None: nothing, all are listed."""
        self._sort = 0
        """Index of ``SORTS``."""
        self._all = False
        self._unread = False
        self._offered = False
        self._judged_again = False
        self._trends_due = False
        """They are being worked out, or were since the list was asked for: none is worked out over and over."""
        self._retired = False
        self._ready = ""
        """What was written for a person since this screen was opened last: no reload wipes it."""

    def body(self) -> Iterator[Widget]:
        """The table, or what to do first."""
        yield Static(id="first")
        yield RowTable([column.head for column in columns_for(0)], id="rigs")

    def on_mount(self) -> None:
        """Load; look for recordings that broke off."""
        self.head("rigs")
        self.reload()

    def on_screen_resume(self) -> None:
        """Something may have changed while another screen was open; a damaged logbook may have been restored."""
        self._ready = ""
        if self._found is not None or self._unread:
            self.reload()

    def reload(self) -> None:
        """Read the logbook again."""
        from throwbook.jobs.rig_list import overview

        self._trends_due = False
        logbook, today = self.desk.logbook, self.desk.today
        self.work("overview", lambda: overview(logbook, today))

    def done_trends(self, count: int) -> None:
        """They are known now."""
        self.tell(self._ready, GOOD)
        self.reload()
        self._trends_due = True

    def failed_trends(self, error: ThrowbookError) -> None:
        """The list stands without them."""
        self.tell(f"{WITHOUT_TRENDS} {spoken(error)}", WARN)

    def _work_out_trends(self) -> None:
        """What gets worse, in a worker: the list is there already."""
        from throwbook.jobs.worsening import work_out_trends

        logbook = self.desk.logbook

        def progress(done: int, total: int) -> None:
            self.post_message(Noted(f"{TRENDS} {done} of {total}."))

        self._trends_due = True
        self.work_once("trends", lambda: work_out_trends(logbook, progress))

    def done_overview(self, found: "Overview") -> None:
        """Show what was found."""
        self._found, self._unread = found, False
        self._retired = self._retired and any(one.retired for one in found.rigs)
        self.desk.simulated = any(one.rig_status.practice for one in found.rigs)
        self.repaint()
        self.refresh_bindings()
        unfinished = unfinished_line(found.unfinished)
        self.tell(unfinished or self._ready, WARN if unfinished else GOOD)
        if found.unfinished and not self._offered:
            self._offered = True
            self.action_judge()
        if not found.trends_known and not self._trends_due and not self.desk.judging_again:
            self._work_out_trends()
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
        if self._found is None:
            return
        rigs, today = self._found.rigs, self.desk.today
        table, first = self.query_one(RowTable), self.query_one("#first", Static)
        wanted = self._wanted or Wanted()
        fitting = pick(rigs, replace(wanted, retired=self._retired, sort=SORTS[self._sort]), today)
        self._shown = fitting if self._all or self._wanted is not None else fitting[:FIRST_RIGS]
        self.head(self._headline(len(fitting)), self._beside())
        table.display = bool(self._shown)
        first.set_class(bool(self._shown), "caution")
        instead = NONE_FIT if self._wanted else ALL_RETIRED if rigs else EMPTY
        first.update(lines(self.app, [Cell(BEFORE_WORK, WARN)] if self._shown else instead))
        columns = Listing(columns_for(self.app.size.width, SORTS[self._sort]))
        table.heads(columns.heads, columns.right)
        table.fill([(one.name, columns.row(one)) for one in self._shown])
        if self._shown:
            table.focus()
        self.refresh_bindings()

    def _headline(self, fitting: int) -> str:
        """Which of the rigs these are."""
        found = self._found
        assert found is not None
        total = sum(bool(one.retired) == self._retired for one in found.rigs)
        hidden = len(found.rigs) - total
        kept_out = f", {hidden} retired not shown" if hidden and not self._retired else ""
        which = "retired rigs" if self._retired else "rigs"
        if self._wanted is not None:
            return f"{fitting} of {total} {which}: {said(self._wanted)}"
        if len(self._shown) < total:
            which = f"first {len(self._shown)} of {total} {which}"
        return f"{which} of {found.path.name}{kept_out}"

    def _beside(self) -> str:
        column = SORTS[self._sort]
        return "" if column == "need" else f"by {column}"

    def on_resize(self) -> None:
        """More columns where there is room."""
        self.repaint()

    def action_all(self) -> None:
        """All of them, and back to the first ten."""
        self._all = not self._all
        self.repaint()

    def action_sort(self) -> None:
        """By the next column; after the last one most pressing first again."""
        self._sort = (self._sort + 1) % len(SORTS)
        self.repaint()

    def action_only(self) -> None:
        """Ask what for."""
        self.open_screen("find rigs", self._wanted or Wanted(), then=self._look_for)

    def _look_for(self, wanted: "Wanted | None") -> None:
        if wanted is not None:
            self._wanted = wanted if wanted != Wanted() else None
            self.repaint()

    def action_only_none(self) -> None:
        """All again."""
        self._wanted = None
        self.repaint()

    def action_trend(self) -> None:
        """Of the rig under the cursor."""
        chosen = self.query_one(RowTable).chosen
        if chosen:
            self.open_screen("trend", chosen)

    def action_import(self) -> None:
        """Trace files of any rigs."""
        self.open_screen("import", then=lambda _: self.reload())

    def action_wall(self) -> None:
        """The rigs as they are listed now, all of those that fit, as a PDF."""
        desk = self.desk
        usual = desk.papers_of("all rigs") / f"wall-{desk.today}.pdf"
        self.open_screen("where", "wall list", usual, then=self._put_on_wall)

    def _put_on_wall(self, path: "Path | None") -> None:
        from throwbook.jobs.rig_list import list_pdf

        if path is None or self._found is None:
            return
        wanted = replace(self._wanted or Wanted(), retired=self._retired, sort=SORTS[self._sort])
        rigs, today = pick(self._found.rigs, wanted, self.desk.today), self.desk.today

        def write() -> "Path":
            path.parent.mkdir(parents=True, exist_ok=True)
            list_pdf(rigs, wanted, path, today, "a4")
            return path

        self.work_once("wall", write)

    def done_wall(self, path: "Path") -> None:
        """Where it is; shown with what this computer has for it."""
        self._ready = f"The wall list is ready: {path}"
        self.tell(self._ready, GOOD)
        self.desk.show_file(str(path))

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
        if action in ("open", "sort", "trend", "wall"):
            return bool(self._shown)
        if action == "all":
            return self._wanted is None and len(rigs) > FIRST_RIGS
        if action == "only":
            return bool(rigs)
        if action == "only_none":
            return self._wanted is not None
        return action != "back" or (self.desk.practice and self._wanted is None)

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
