"""One rig: where it stands, why, what comes next; its sheets, throws and services."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.events import Key
from textual.widget import Widget
from textual.widgets import DataTable, Static

from throwbook.core.quantities.text import counted
from throwbook.core.records import COMMISSIONING, OPEN
from throwbook.core.sizing.sizing import coverage_line
from throwbook.core.status.latch import IN_SERVICE
from throwbook.core.status.status_text import caution, headline
from throwbook.core.wording import without_keys
from throwbook_tui.context import start_sheet
from throwbook_tui.present import (
    BAD,
    QUIET,
    STATUSES,
    WARN,
    Cell,
    day,
    reason_lines,
    sentence,
    status_cell,
    unfinished_in,
)
from throwbook_tui.rows import LISTS, RIG_HEADINGS, rig_rows
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import RowTable, lines

if TYPE_CHECKING:
    from throwbook.core.records import LoggedTrial
    from throwbook.jobs.rigs import RigView

MOST_REASONS = 2
TO_COMMISSION = "Next: press S for a commissioning sheet on the machine (or a bench sheet if the actuator is not mounted yet)."
GO_ON = "Next: sheet {} is open. Move the cursor to it and press Enter: its next step is at the top."
UNFINISHED = (
    "A recording is not judged yet. Press J. Until then no sheet can be accepted and no order cleared."
)


class RigScreen(Page[None]):
    """Everything about one rig hangs here."""

    HELP = "rig"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter", "open", "open", "Enter", priority=True),
        key("s", "sheet", "new sheet"),
        key("t", "throw", "one throw"),
        key("h", "by_hand", "by hand"),
        key("v", "service", "service"),
        key("r", "trend", "trend"),
        key("p", "papers", "papers"),
        key("e", "edit", "rig values"),
        key("j", "judge", "judge the recording"),
        key("w", "steps_to_clear", "clear order"),
        key("u", "take_out", "stalled, pin out, damage"),
        key("x", "practise", "practise"),
        key("1", "show_list('sheets')", "", show=False),
        key("2", "show_list('throws')", "", show=False),
        key("3", "show_list('services')", "", show=False),
        key("tab", "next_list", "1-3 lists", "Tab"),
    ]

    def __init__(self, name: str) -> None:
        super().__init__()
        self.rig_name = name
        self._found: tuple[RigView, list[LoggedTrial]] | None = None
        self._list = LISTS[0]
        self._early = ""
        """What was asked for by a key before the rig was read."""

    def body(self) -> Iterator[Widget]:
        """Standing above, one of three lists below."""
        yield Static(id="standing", classes="says")
        yield Static(id="lists", classes="says")
        for name in LISTS:
            table = RowTable(RIG_HEADINGS[name], id=name)
            table.display = name == self._list
            yield table

    def on_mount(self) -> None:
        """Load."""
        self.head(self.rig_name)
        self.reload()

    def on_screen_resume(self) -> None:
        """Something may have changed meanwhile."""
        if self._found is not None:
            self.reload()

    def reload(self) -> None:
        """Read this rig again."""
        from throwbook.jobs.judgements import newest_trials
        from throwbook.jobs.rigs import rig_history

        logbook, name, today = self.desk.logbook, self.rig_name, self.desk.today
        self.work("load", lambda: (rig_history(logbook, name, today), newest_trials(logbook, name)))

    def done_load(self, found: "tuple[RigView, list[LoggedTrial]]") -> None:
        """Show it."""
        self._found = found
        self.repaint()
        self.refresh_bindings()
        self.query_one(f"#{self._list}", RowTable).focus()
        if (early := self._early) and self.is_current:
            self._early = ""
            self.call_later(self.run_action, early)

    def on_key(self, event: Key) -> None:
        """What these do hangs on the rig's status: one that comes before it is known waits for it."""
        if self._found is None:
            self._early = {"w": "steps_to_clear", "j": "judge"}.get(event.key.lower(), self._early)

    def repaint(self) -> None:
        """Standing, then the list that is chosen."""
        super().repaint()
        if self._found is None:
            return
        history, trials = self._found
        standing = history.rig_status
        self.head(self.rig_name, status_cell(standing.status, standing.commissioned))
        self.query_one("#standing", Static).update(lines(self.app, self._rig_status(history)))
        counts = {"sheets": len(history.sheets), "throws": history.trials, "services": len(history.services)}
        marks = [
            f"[{number}]>{name} {counts[name]}<"
            if name == self._list
            else f" {number}  {name} {counts[name]} "
            for number, name in enumerate(LISTS, start=1)
        ]
        self.query_one("#lists", Static).update(lines(self.app, [Cell("  ".join(marks), "strong")]))
        for name in LISTS:
            table = self.query_one(f"#{name}", RowTable)
            table.display = name == self._list
            if name == self._list:
                table.fill(rig_rows(name, history, trials))

    def _rig_status(self, history: "RigView") -> list[Cell]:
        standing = history.rig_status
        status = standing.status
        tone = STATUSES[status.level][1]
        said = headline(status, standing.commissioned, standing.next_check.sentence)
        cells = [Cell(f"{said[:1].upper()}{said[1:]}.", tone if status.level != IN_SERVICE else "strong")]
        if said.lower() == status.level and caution(status):
            cells = []  # the caution says the same, and more
        if caution(status):
            cells.append(Cell(caution(status), BAD))
        if unfinished_in(status):
            cells.append(Cell(UNFINISHED, BAD))
        held = reason_lines(status)
        cells += [Cell(text) for text in held[:MOST_REASONS]]
        if len(held) > MOST_REASONS:
            cells.append(Cell(f"and {counted(len(held) - MOST_REASONS, 'more reason')} (W shows all)", QUIET))
        if status.open:
            cells.append(Cell("To clear the open order, step by step: press W.", "strong"))
        elif not standing.commissioned:
            sheets = [one.state for one in history.sheets if one.state.sheet.kind == COMMISSIONING]
            begun = next((one for one in reversed(sheets) if one.state == OPEN), None)
            cells.append(Cell(GO_ON.format(begun.name) if begun else TO_COMMISSION))
        if history.not_proved:
            cells.append(Cell(f"Not proved: {'; '.join(history.not_proved)}.", WARN))
        if history.gaps:
            cells.append(Cell(coverage_line(history.gaps), WARN))
            first = next((one for one in history.gaps if one.do), None)
            if first is not None:
                cells.append(
                    Cell(
                        f"First: {first.about}. {sentence(without_keys(first.do))} E shows the rest.",
                        WARN,
                    )
                )
        cells += [Cell(sentence, "strong") for sentence in history.happened[-1:]]
        if len(history.happened) > 1:
            earlier = counted(len(history.happened) - 1, "earlier event")
            cells.append(Cell(f"and {earlier} since the last accepted sheet (R, then P, lists them)", QUIET))
        last = f"Last throw {day(history.last_trial)}." if history.last_trial else "No throws yet."
        cells.append(Cell(last, QUIET))
        return cells

    # ---- keys ----

    def action_show_list(self, name: str) -> None:
        """One of the three lists."""
        self._list = name
        self.repaint()
        self.query_one(f"#{name}", RowTable).focus()

    def action_next_list(self) -> None:
        """The list after this one."""
        self.action_show_list(LISTS[(LISTS.index(self._list) + 1) % len(LISTS)])

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        """A click on a row; the list may have changed since."""
        event.stop()
        self.open_row(event.data_table.id or "", event.row_key.value or "")

    def action_open(self) -> None:
        """Enter."""
        self.open_row(self._list, self.query_one(f"#{self._list}", RowTable).chosen or "")

    def open_row(self, kind: str, chosen: str) -> None:
        """A sheet, a throw or a service, by the list it stands in."""
        if not chosen:
            return
        if kind == "sheets":
            self.open_screen("sheet", chosen)
        elif kind == "throws":
            self.open_screen("trial", chosen)
        elif self._found is not None:
            entry = next(one for one in self._found[0].services if one.id == chosen)
            self.open_screen("service view", entry)

    def action_sheet(self) -> None:
        """Plan a sheet."""
        start_sheet(self.app, self.rig_name)

    def action_throw(self) -> None:
        """One throw, on a spot sheet of its own."""
        start_sheet(self.app, self.rig_name, "spot")

    def action_by_hand(self) -> None:
        """A sheet that is filled with stopwatch and clamp meter."""
        start_sheet(self.app, self.rig_name, by_hand=True)

    def action_service(self) -> None:
        """Log a service."""
        self.open_screen("service", self.rig_name)

    def action_trend(self) -> None:
        """Trend over the seasons."""
        self.open_screen("trend", self.rig_name)

    def action_papers(self) -> None:
        """Report, blank sheet, cab card, export, backup."""
        self.open_screen("papers", self.rig_name)

    def action_edit(self) -> None:
        """The rig's values, with ``rig fit`` beside them."""
        self.open_screen("rig setup", self.rig_name)

    def action_judge(self) -> None:
        """Judge what is left of recordings that broke off."""
        self.open_screen("recover")

    def action_steps_to_clear(self) -> None:
        """What holds the rig and how it comes down."""
        self.open_screen("way back", self.rig_name)

    def action_take_out(self) -> None:
        """What happened without a sheet takes the rig out of use."""
        self.open_screen("take out", self.rig_name)

    def action_practise(self) -> None:
        """The same rig on a simulated board, in a logbook of its own."""
        self.open_screen("practice", self.rig_name)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """The way back is offered where there is one to go."""
        if action == "steps_to_clear":
            return self._found is not None and bool(self._found[0].rig_status.status.open)
        if action == "judge":
            return self._found is not None and unfinished_in(self._found[0].rig_status.status)
        if action == "practise":
            return not self.desk.practice
        return True
