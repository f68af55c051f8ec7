"""A test sheet, guided: the next step is at the top, and Enter starts it; and a throw left out, with its reason."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import DataTable, Static

from throwbook.core.quantities.text import counted
from throwbook.core.quantities.units import show_rest
from throwbook.core.records import ACCEPTED, BENCH, BY_HAND, COMMISSIONING, OPEN
from throwbook.core.rig import LOCK
from throwbook.core.status.latch import LEVELS
from throwbook.core.status.status_text import caution
from throwbook_tui.fields import FieldSpec
from throwbook_tui.present import (
    BAD,
    GOOD,
    QUIET,
    STATUSES,
    STRONG,
    WARN,
    Cell,
    reason_lines,
)
from throwbook_tui.rows import (
    LOOK,
    SHEET_HEADINGS,
    SIGN,
    STOP,
    THROW,
    Step,
    marks_said,
    next_step,
    sheet_rows,
)
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import RowTable, lines

if TYPE_CHECKING:
    from throwbook.jobs.judgements import Rejudged
    from throwbook.jobs.sheets import SheetView
    from throwbook_tui.context import Desk


MEANING = "It stays on the sheet, marked as left out, with this reason. If the throw failed, or a pin was not seen at it, the sheet can no longer be accepted."


class LeaveOutScreen(FormPage[None]):
    """One throw, one reason."""

    HELP = "sheet"

    def __init__(self, sheet: str, position: int) -> None:
        super().__init__()
        self._sheet, self._position = sheet, position

    def draft_name(self) -> str:
        """One for each throw."""
        return f"leave-out-{self._sheet}-{self._position}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """Why."""
        return (
            FieldSpec(
                "because", "reason to leave it out", must=True, hint="mistyped, thrown the wrong way, ..."
            ),
        )

    def opened(self) -> None:
        """What it means."""
        self.head(f"{self._sheet} | leave out throw {self._position}")
        self.tell(MEANING, WARN)

    def enter(self) -> None:
        """Write it down beside the throw."""
        from throwbook.jobs.sheets import leave_out

        desk, sheet, position = self.desk, self._sheet, self._position
        because = self.form.field("because").value.strip()
        self.work_once(
            "leave", lambda: leave_out(desk.logbook, sheet, position, because, desk.by, desk.now())
        )

    def done_leave(self, _: Any) -> None:
        """Back to the sheet, which asks for another throw."""
        self.drop_draft()
        self.dismiss(None)


BAR = 30


def rest_line(left_s: float, whole_s: float) -> Cell:
    """One line: a bar and what is left."""
    if left_s <= 0.0:
        return Cell(f"Rest: [{'#' * BAR}] finished.", GOOD)
    done = int(BAR * (1.0 - left_s / whole_s)) if whole_s > 0 else BAR
    return Cell(
        f"Rest: [{'#' * done}{'.' * (BAR - done)}] {show_rest(left_s)} of {show_rest(whole_s)} left for the duty cycle.",
        WARN,
    )


class RestTimer(Static):
    """Counts by the clock that was handed in; it runs on while another screen is open."""

    def __init__(self, desk: "Desk", rig: str) -> None:
        super().__init__()
        self._desk, self._rig = desk, rig
        self.wanted = True
        """Nobody waits for the rest where no throw is to come."""
        self.display = False

    def on_mount(self) -> None:
        """Look once a second."""
        self.set_interval(1.0, self.repaint)
        self.repaint()

    @property
    def left_s(self) -> float:
        """What is left [s]; none when no throw was made yet."""
        until_s, _ = self._desk.rests.get(self._rig, (0.0, 0.0))
        return max(0.0, until_s - self._desk.monotonic())

    def repaint(self) -> None:
        """Draw it."""
        self.display = self.wanted and self._rig in self._desk.rests
        if self.display:
            self.update(lines(self.app, [rest_line(self.left_s, self._desk.rests[self._rig][1])]))


WIDE = 100
"""From this width on figures stand with their uncertainty."""
REST_MEANING = "The duty-cycle rest is not over. The motor would run warmer than its duty cycle allows, and the figures would not match those of a rested motor. The throw may show 'rest too short', and the statement says so."
RIG_CHANGED = "The rig's values have changed since these throws were judged. J judges them again with the present values."


class SheetScreen(Page[None]):
    """From the first throw to the signature."""

    HELP = "sheet"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter", "next", "do the next step", "Enter", priority=True),
        key("d", "turn", "other direction"),
        key("f5", "time", "start, and time it", "F5"),
        key("h", "by_hand", "by hand"),
        key("l", "look", "pins seen"),
        key("p", "photographs", "photographs"),
        key("o", "open_throw", "throw details"),
        key("x", "leave_out", "leave out"),
        key("b", "board", "with the board"),
        key("j", "judge_again", "judge again"),
        key("c", "questions", "questions"),
        key("m", "missing", "what is missing"),
        key("a", "sign", "accept/reject"),
        key("r", "trend", "trend"),
    ]

    def __init__(self, name: str) -> None:
        super().__init__()
        self.sheet_name = name
        self._by_hand = False
        self._thrown = False
        """A throw was made just now: its pins are looked at next."""
        self._reach: tuple[str, ...] = ()
        """What the clamp meter at hand can accept, until the first throw is made."""
        self._found: SheetView | None = None
        self._turned = False
        self._was_level = ""

    def body(self) -> Iterator[Widget]:
        """Step, rest, throws."""
        yield Static(id="step", classes="says")
        yield RestTimer(self.desk, self.sheet_name.rsplit("-", 1)[0])
        yield RowTable(SHEET_HEADINGS, right=(2, 3, 4), id="throws")

    def on_mount(self) -> None:
        """Load."""
        self.head(self.sheet_name)
        self.reload()

    def on_screen_resume(self) -> None:
        """A throw or a sighting may have been added."""
        if self._found is not None:
            self.reload()

    def on_resize(self) -> None:
        """Shorter figures on a narrow screen."""
        self.repaint()

    def reload(self) -> None:
        """Read the sheet again."""
        from throwbook.jobs.sheets import view

        logbook, name = self.desk.logbook, self.sheet_name
        self.work("view", lambda: view(logbook, name))

    def done_view(self, found: "SheetView") -> None:
        """Show it; a status that went up is told aloud."""
        worse = self._was_level not in ("", found.status.level) and found.status.level != "in service"
        if self._found is None:  # a sheet goes on as it was begun
            self._by_hand = found.trials[-1].by_hand if found.trials else found.plan.measured_by == BY_HAND
            self._ask_reach(found)
        self._found, self._was_level = found, found.status.level
        self.repaint()
        if worse:
            self.app.bell()
        self.query_one(RowTable).focus()
        self.refresh_bindings()
        if not self.is_active:  # on the way back it is read again
            return
        if self._thrown and self.step.what == LOOK:
            self._look(self.step.position)
        self._thrown = False

    def _ask_reach(self, found: "SheetView") -> None:
        """Before the first throw by hand on a sheet that is to be accepted."""
        logbook, state = self.desk.logbook, found.state
        if state.sheet.kind == COMMISSIONING and self._by_hand and not found.trials and state.state == OPEN:
            from throwbook.jobs.sheets import meter_reach

            self.work("reach", lambda: meter_reach(logbook, state.sheet.id))

    def done_reach(self, said: tuple[str, ...]) -> None:
        """It stands above the throws."""
        self._reach = said
        self.repaint()

    @property
    def step(self) -> Step:
        """What comes next."""
        assert self._found is not None
        return next_step(self._found, self._turned, self._by_hand)

    def repaint(self) -> None:
        """Step, then the throws."""
        super().repaint()
        found = self._found
        if found is None:
            return
        status = found.status
        mark, tone = STATUSES[status.level]
        kind = found.state.sheet.kind
        self.head(
            f"{self.sheet_name} | {kind}, {found.state.state}",
            Cell(f"{mark} {status.level.upper() if tone == BAD else status.level}", tone)
            if status.level != LEVELS[0]
            else "",
        )
        step = self.step
        cells: list[Cell | str] = [Cell(step.say, BAD if step.what == STOP else STRONG)]
        if caution(status):
            cells.append(Cell(caution(status), BAD))
        if step.what == STOP:
            cells += [Cell(text) for text in reason_lines(status)]
        elif found.state.state == OPEN:
            plan = found.plan
            cells.append(
                Cell(
                    f"Plan: {plan.throws_each_way} lock and {counted(plan.throws_each_way, 'unlock throw')}, at least {show_rest(plan.rest_s)} rest between throws ({plan.rest_from}).",
                    QUIET,
                )
            )
            if not found.trials:
                cells += [Cell(f"Check: {text}.") for text in found.plan.look_at]
                cells += [Cell(text, WARN) for text in self._reach if self._by_hand]
            if found.rig_changed:
                cells.append(Cell(RIG_CHANGED, WARN))
        else:
            cells.append(Cell(self._decided()))
            cells += [Cell(text, BAD) for text in found.said_since]
        rows = sheet_rows(found, self.app.size.width >= WIDE)
        if marks_said(rows):
            cells.append(Cell(f"After the number: {marks_said(rows)}.", QUIET))
        self.query_one("#step", Static).update(lines(self.app, cells))
        timer = self.query_one(RestTimer)
        timer.wanted = found.state.state == OPEN and step.what != STOP
        timer.repaint()
        self.query_one(RowTable).fill(rows)

    def _decided(self) -> str:
        assert self._found is not None
        decision = self._found.state.decision
        if decision is None:
            return ""
        told = decision.statement.get("statement") or decision.reason
        if "statement" in decision.statement:  # it says who signed
            return f"{decision.outcome.capitalize()}. {told}"
        return f"{decision.outcome.capitalize()}, signed {decision.signed.rstrip('.')}. {told}"

    # ---- keys ----

    def action_next(self) -> None:
        """Do what stands on top."""
        if self._found is None or self._found.state.state != OPEN:
            return
        if self.step.what == THROW:
            self._throw(self.step.direction)
        elif self.step.what == LOOK:
            self._look(self.step.position)
        elif self.step.what == SIGN:
            self.action_sign()
        elif self.step.what == STOP:
            self.open_screen("way back", self._found.state.sheet.rig)

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        """Enter means the next step here; a throw is opened with O."""
        event.stop()
        self.action_next()

    def _throw(self, direction: str) -> None:
        left_s = self.query_one(RestTimer).left_s
        if left_s > 0 and not self._by_hand:  # readings may be typed from paper: there the stopwatch tells it
            question = f"The actuator needs {show_rest(left_s)} more rest. Throw anyway?"
            self.confirm(question, REST_MEANING, lambda: self._record(direction), WARN)
        else:
            self._record(direction)

    def action_time(self) -> None:
        """The next throw by hand, with the stopwatch running at once."""
        if self.step.what == THROW:
            self._record(self.step.direction, began_s=self.desk.monotonic())

    def _record(self, direction: str, began_s: float | None = None) -> None:
        assert self._found is not None
        rig, sheet = self._found.state.sheet.rig, self.sheet_name
        self._turned, self._thrown = False, True
        if self._by_hand:
            self.open_screen("enter", rig, sheet, direction, self._found.plan.day, began_s)
        else:
            state = self._found.state
            ambient_c = state.answers.get("ambient_c")
            kind = state.sheet.kind
            self.open_screen("record", rig, sheet, direction, kind=kind, ambient_c=ambient_c)

    def action_by_hand(self) -> None:
        """The next throw with stopwatch and clamp meter."""
        self._by_hand = True
        self.refresh_bindings()
        self._throw(self.step.direction or LOCK)

    def action_board(self) -> None:
        """The next throw is recorded by the board again."""
        self._by_hand = False
        self.repaint()
        self.refresh_bindings()

    def action_leave_out(self) -> None:
        """The throw under the cursor doesn't count; it stays on the sheet."""
        chosen = self._chosen()
        if chosen is None or chosen.left_out:
            self.tell("Move the cursor to the throw to leave out.", WARN)
        else:
            self.open_screen("leave out", self.sheet_name, chosen.position)

    def action_judge_again(self) -> None:
        """By the values that the rig has now."""
        from throwbook.jobs.judgements import rejudge

        desk, sheet = self.desk, self.sheet_name
        self.work(
            "again", lambda: rejudge(desk.logbook, sheet, "the rig's values changed", desk.by, desk.now())
        )

    def done_again(self, done: "Rejudged") -> None:
        """Say what is another verdict now."""
        changed = [f"throw {one.position}: {one.before} before, {one.after} now" for one in done.changed]
        self.tell("; ".join(changed) or "Judged again: no verdict has changed.", WARN if changed else "")
        self.reload()

    def action_turn(self) -> None:
        """The next throw goes the other way."""
        self._turned = not self._turned
        self.repaint()

    def _look(self, position: int) -> None:
        assert self._found is not None
        self.open_screen("sighting", self.sheet_name, position, self._found)

    def action_look(self) -> None:
        """What was seen at the throw under the cursor."""
        chosen = self._chosen()
        if chosen is not None and chosen.direction == LOCK:
            self._look(chosen.position)
        else:
            self.tell("Move the cursor to a lock throw. Pins are looked at after lock throws only.", WARN)

    def action_photographs(self) -> None:
        """Those of the pins at the throw under the cursor."""
        chosen = self._chosen()
        if chosen is not None and chosen.direction == LOCK:
            self.open_screen("photographs", self.sheet_name, chosen.position, self._found)
        else:
            self.tell("Move the cursor to a lock throw. Photographs show the pins after lock throws.", WARN)

    def _chosen(self) -> Any:
        assert self._found is not None
        row = self.query_one(RowTable).chosen
        return next((one for one in self._found.trials if one.id == row), None)

    def action_open_throw(self) -> None:
        """The throw under the cursor, in depth."""
        chosen = self._chosen()
        if chosen is not None:
            self.open_screen("trial", chosen.id)

    def action_questions(self) -> None:
        """What every sheet asks."""
        assert self._found is not None
        self.open_screen("questions", self.sheet_name, self._found.state.answers, self._found.units)

    def action_missing(self) -> None:
        """What an acceptance would still lack."""
        assert self._found is not None
        self.open_screen("missing", self._found)

    def action_trend(self) -> None:
        """What this sheet does to the rig's years."""
        assert self._found is not None
        self.open_screen("trend", self._found.state.sheet.rig)

    def action_sign(self) -> None:
        """Accept or reject."""
        assert self._found is not None
        self.open_screen("sign", self._found)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """A decided sheet only shows itself; a bench sheet has no pins to see."""
        if self._found is None:
            return action in ("back", "help")
        if action == "trend":
            return self._found.state.state != OPEN
        if action == "photographs":
            found = self._found
            return found.state.state == OPEN and found.state.sheet.kind != BENCH and bool(found.trials)
        if action == "missing":
            return self._found.state.state != ACCEPTED
        if action in (
            "next",
            "time",
            "turn",
            "by_hand",
            "look",
            "questions",
            "sign",
            "leave_out",
            "board",
            "judge_again",
        ):
            if action == "look":  # a NO is taken on a decided sheet too
                return self._found.state.sheet.kind != BENCH
            if self._found.state.state != OPEN:
                return False
            if action == "leave_out":
                return bool(self._found.trials)
            if action in ("turn", "by_hand") and self.step.what == STOP:
                return False
            if action == "time":
                return self._by_hand and self.step.what == THROW
            if action == "board":
                return self._by_hand and self.step.what != STOP
            if action == "judge_again":
                return self._found.rig_changed
        return True
