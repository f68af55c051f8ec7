"""One throw from a board: armed, waited for, drawn while it runs, judged when it ends, kept at once."""

import gc
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.analysis.live import AT_STALL, FLOWING, OVER, LiveFigures
from throwbook.core.records import SPOT
from throwbook.core.rig import LOCK, UNLOCK
from throwbook.core.wording import switch_name
from throwbook.errors import ThrowbookError
from throwbook_tui.background import BoardReady, Live, Noted
from throwbook_tui.context import throw_plan
from throwbook_tui.present import BAD, STRONG, WARN, Cell, large_word, sentence, spoken
from throwbook_tui.record_text import (
    ARMED_SAID,
    ARMED_SIMULATED,
    EITHER_WAY,
    LOOK_LARGE,
    NOT_THROWN,
    TAKE_AIR,
    TAKE_AIR_SAID,
    head_cell,
    kept_cells,
    levels_for,
    look_now,
    ready_cells,
    result_cells,
    state_cell,
    switch_cell,
    travel_bar,
    unlock_question,
    warning_line,
)
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import Big, lines
from throwbook_tui.widgets.plot import LiveTrace

if TYPE_CHECKING:
    from throwbook.jobs.find import RigSource
    from throwbook.jobs.recording import Recorded
    from throwbook.jobs.sheets import SheetView
    from throwbook.jobs.store_trial import StoredTrial
    from throwbook_tui.context import Desk

READY, ARMED, RUNNING, JUDGED = "ready", "armed", "running", "judged"


def clear_memory() -> None:
    """Look for dead objects now, and leave out those that live on: else the search stops a throw for 50 ms now and then."""
    gc.unfreeze()
    gc.collect()
    gc.freeze()


class RecordScreen(Page[None]):
    """Every throw that was recorded is kept, good or bad."""

    HELP = "record"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter,space", "arm", "arm", "Enter"),
        key("enter,space", "finish", "end it by hand", "Enter"),
        key("escape", "finish", "end it by hand", "Esc", show=False),
        key("escape", "back", "back", "Esc"),
        key("enter,space", "go_on", "go on", "Enter"),
        key("b", "board", "board"),
    ]

    def __init__(
        self, rig: str, sheet: str, direction: str, *, kind: str = SPOT, ambient_c: float | None = None
    ) -> None:
        super().__init__()
        self._kind, self._ambient_c = kind, ambient_c
        self._rig_name, self._sheet, self._direction = rig, sheet, direction
        self._source: RigSource | None = None
        self._recording: Any = None
        self._result: tuple[Recorded, StoredTrial] | None = None
        self._warning = ""
        self._to_keep = False
        """The recording has ended and something flowed in it."""
        self.phase = READY

    def body(self) -> Iterator[Widget]:
        """Large figure, words, then the trace or the verdict."""
        yield Big(id="big")
        yield Big(id="pins")
        with Horizontal(id="switches"):
            yield Big(id="left-switch", beside=2)
            yield Big(id="right-switch", beside=2)
        with VerticalScroll(id="words-place", can_focus=False):
            yield Static(id="words", classes="says")
        yield Static(id="told", classes="says")

    def on_mount(self) -> None:
        """Load the rig; look for the board when none was used yet."""
        self.head(f"{self._sheet} | {self._direction} throw")
        from throwbook.jobs.find import find_rig

        logbook, rig, kind = self.desk.logbook, self._rig_name, self._kind
        self.work("rig", lambda: find_rig(rig, logbook, kind))

    def done_rig(self, source: "RigSource") -> None:
        """The rig is there: the trace can get its lines."""
        self._source = source
        levels, expected_s = levels_for(source.rig, source.baselines.get(self._direction))
        trace = LiveTrace(levels, expected_s)
        self.mount(trace, before=self.query_one("#told"))
        self._set_phase(READY)
        self.repaint()
        if not self.desk.port:
            self.action_board()

    def _set_phase(self, phase: str) -> None:
        """The trace is seen from arming on; beside a verdict with causes only where there is room."""
        self.phase = phase
        busy = phase in (ARMED, RUNNING)
        self.set_class(busy, "busy")
        drawn = busy or (phase == JUDGED and self._roomy)
        self.query_one(LiveTrace).display = drawn
        # The words take what room there is, and what to do now stays below them however long they are.
        self.set_class(phase == JUDGED and not drawn, "only-words")
        self.query_one("#pins", Big).display = False
        self.query_one("#switches").display = False
        self.refresh_bindings()

    @property
    def _roomy(self) -> bool:
        """Whether more than the words of the verdict has room: causes, or a rig out of use, need a small screen for themselves."""
        if self._result is None or self.app.size.height > 30:
            return True
        recorded, kept = self._result
        return not head_cell(kept) and not any(one.assessment.diagnoses for one in recorded.throws)

    def on_resize(self) -> None:
        """Room for the trace beside the verdict came or went."""
        if self.phase == JUDGED:
            self._set_phase(JUDGED)
            self.repaint()

    def repaint(self) -> None:
        """For the phase there is."""
        super().repaint()
        if self._source is None:
            return
        if self.phase == READY:
            self._show_ready()
        elif self.phase == JUDGED and self._result is not None:
            self._show_result(*self._result)
        self.query_one("#big", Big).repaint()
        self.query_one("#pins", Big).repaint()

    def _show_ready(self) -> None:
        self.query_one("#big", Big).show(Cell(f"{self._direction.upper()} ?", STRONG))
        desk = self.desk
        cells = ready_cells(desk.port, desk.rate_hz, desk.baud, desk.practice)
        self.query_one("#words", Static).update(lines(self.app, cells))
        self.query_one("#told", Static).update("")

    # ---- recording ----

    def action_arm(self) -> None:
        """Wait for the current; without a board, find one first."""
        if not self.desk.port:
            self.action_board()
        else:
            self._arm()

    def action_finish(self) -> None:
        """End by hand; what was recorded is kept."""
        self._recording.finish()

    def action_go_on(self) -> None:
        """Back to the sheet, which asks for what comes next; a throw that took the rig out of use shows the way back first.

        Before that come the pins, as promised: an open switch or a stall says nothing of what a person sees.
        """
        assert self._result is not None
        recorded, kept = self._result
        if not kept.took_out:
            self.dismiss(None)
        elif look_now(recorded):
            from throwbook.jobs.sheets import view

            logbook = self.desk.logbook
            self.work_once("look", lambda: view(logbook, kept.sheet))
        else:
            self.replace_by("way back", self._rig_name)

    def done_look(self, found: "SheetView") -> None:
        """Both pins at the lock throw that was recorded last; then the way back."""
        self.replace_by("sighting", found.state.name, found.last_lock_throw, found, took_out=True)

    def _arm(self) -> None:
        assert self._source is not None
        desk = self.desk
        self.tell("")
        self._to_keep = False
        self._set_phase(ARMED)
        clear_memory()
        plan = throw_plan(desk, self._source, self._rig_name, self._direction, self._kind, self._ambient_c)
        self._recording = desk.recording(
            plan,
            now=desk.now,
            on_live=lambda figures: self.post_message(Live(figures)),
            on_note=lambda line: self.post_message(Noted(line)),
            on_ready=lambda identity: self.post_message(BoardReady()),
        )
        self.query_one(LiveTrace).show(None)
        self.query_one("#told", Static).update("")
        self.query_one("#big", Big).show(Cell("WAIT", WARN))
        self.query_one("#words", Static).update(
            lines(self.app, [Cell("Connecting to the board. Do not throw yet ...", STRONG)])
        )
        self.work("record", lambda: self._record(desk))

    def _record(self, desk: "Desk") -> "tuple[Recorded, StoredTrial | None]":
        """In a thread, to the end: kept there, so that it is also kept where the program ends meanwhile.

        None is kept where a person has to say something first: whether it was a throw, when no current came; which way its
        movements went. Where nobody is left to be asked, the worse way counts.
        """
        with desk.at_work():
            recorded: Recorded = self._recording.run()
            asks = bool(recorded.untold or recorded.air_question) and not desk.ends.is_set()
            if recorded.no_current or asks:
                return recorded, None
            self._to_keep = True
            return recorded, self._kept(recorded, desk)

    def on_board_ready(self, message: BoardReady) -> None:
        """Now the throw may come."""
        message.stop()
        if self.phase == ARMED:
            self.query_one("#big", Big).show(Cell("ARMED", WARN))
            self.query_one("#words", Static).update(
                lines(self.app, ARMED_SIMULATED if self.desk.practice else ARMED_SAID)
            )

    def on_live(self, message: Live) -> None:
        """The newest figures."""
        message.stop()
        if self.phase not in (ARMED, RUNNING):
            return
        figures: LiveFigures = message.figures
        began = figures.phase in (FLOWING, OVER) and self.phase == ARMED
        if began:
            self.phase = RUNNING
        if self.phase == RUNNING:
            self.query_one("#big", Big).show(state_cell(figures))
            tone = BAD if figures.warning else STRONG
            warning = warning_line(figures)
            words = lines(self.app, [Cell(travel_bar(figures), tone), Cell(warning, tone if warning else "")])
            # A layout of the whole screen at every figure would keep the keys waiting.
            self.query_one("#words", Static).update(words, layout=began or warning != self._warning)
            self._warning = warning
            self._show_switches(figures)
            self.query_one(LiveTrace).take(figures)

    def _show_switches(self, figures: LiveFigures) -> None:
        """Large, side by side, where any is fitted."""
        stand = {"left": figures.left_switch, "right": figures.right_switch}
        self.query_one("#switches").display = any(closed is not None for closed in stand.values())
        for side, closed in stand.items():
            one = self.query_one(f"#{side}-switch", Big)
            one.display = closed is not None
            if closed is not None:
                one.show(switch_cell(closed), switch_name(side))

    def on_noted(self, message: Noted) -> None:
        """Lost samples, a slept computer, ...; a current at stall level stands beside the figure already."""
        message.stop()
        if not message.line.startswith(AT_STALL):
            self.tell(sentence(message.line), WARN)

    def done_record(self, result: "tuple[Recorded, StoredTrial | None]") -> None:
        """It ended and is kept, or a person is asked: whether there was a throw, or which way its movements went."""
        recorded, kept = result
        if kept is not None:
            self._rest_after(recorded)
            self.done_keep((recorded, kept))
            return
        if not recorded.no_current:
            self._ask_air(recorded)
            return

        def answered(thrown: bool | None) -> None:
            if thrown:
                self._keep(recorded)
            else:
                self.work("let_go", recorded.discard_journal)

        self.app.bell()
        question = "No current was measured. Was the switch thrown?"
        self.open_screen("confirm", question, NOT_THROWN, WARN, then=answered)

    def _ask_air(self, recorded: "Recorded") -> None:
        """Ask whether the probe's temperature is that of the air, where nobody typed one or it is far off; then go on."""
        if not recorded.air_question:
            self._ask_ways(recorded, {}, board_air=False)
            return

        def answered(take: bool | None) -> None:
            self._ask_ways(recorded, {}, board_air=bool(take))

        self.app.bell()
        self.open_screen("confirm", TAKE_AIR, f"{recorded.air_question} {TAKE_AIR_SAID}", WARN, then=answered)

    def _ask_ways(self, recorded: "Recorded", ways: dict[int, str], board_air: bool) -> None:
        """Ask which way each movement went of which the current doesn't tell it; then keep them all."""
        left = [number for number in recorded.untold if number not in ways]
        if not left:
            self._keep(recorded, ways, board_air)
            return

        def answered(unlock: bool | None) -> None:
            self._ask_ways(recorded, {**ways, left[0]: UNLOCK if unlock else LOCK}, board_air)

        self.app.bell()
        question = unlock_question(left[0], len(recorded.throws))
        self.open_screen("confirm", question, EITHER_WAY, WARN, then=answered)

    def done_let_go(self, _: None) -> None:
        """Nobody threw."""
        self._set_phase(READY)
        self.repaint()
        self.tell("Nothing was recorded.")

    def _keep(
        self, recorded: "Recorded", ways: Mapping[int, str] = MappingProxyType({}), board_air: bool = False
    ) -> None:
        self._rest_after(recorded)
        desk = self.desk

        def kept() -> "tuple[Recorded, StoredTrial]":
            judge = recorded.with_board_air if board_air else recorded.directed
            judged = judge(ways) if ways or board_air else recorded
            return judged, self._kept(judged, desk)

        self.work_once("keep", kept)

    def _rest_after(self, recorded: "Recorded") -> None:
        desk = self.desk
        if recorded.rest_s is not None:
            desk.rests[self._rig_name] = (desk.monotonic() + recorded.rest_s, recorded.rest_s)

    def _kept(self, recorded: "Recorded", desk: "Desk") -> "StoredTrial":
        """In a thread: the screen may be gone already."""
        from throwbook.jobs.store_trial import Place, keep

        place = Place(logbook=desk.logbook, in_logbook=True, sheet=self._sheet, by=desk.by)
        with desk.at_work():
            return keep(recorded, place, desk.now())

    def failed_record(self, error: ThrowbookError) -> None:
        """It came to no recording at all, or it couldn't be kept."""
        if self._to_keep:
            self.failed_keep(error)
        else:
            self._failed(error)

    def failed_keep(self, error: ThrowbookError) -> None:
        """The journal is still there: it is offered at the next start."""
        self._failed(error)
        self.tell(
            f"{sentence(spoken(error))} Nothing is lost. The recording is offered again the next time the program starts.",
            BAD,
        )

    def _failed(self, error: ThrowbookError) -> None:
        self.app.bell()
        self._set_phase(READY)
        self.repaint()
        self.tell(spoken(error), BAD)

    def done_keep(self, result: "tuple[Recorded, StoredTrial]") -> None:
        """Large word, bell, reason."""
        self._result = result
        self._set_phase(JUDGED)
        self.repaint()
        self.app.bell()
        problem: ThrowbookError | None = result[0].problem
        if problem is not None:
            self.tell(f"{sentence(spoken(problem))} What was recorded before it is kept.", WARN)

    def _show_result(self, recorded: "Recorded", kept: "StoredTrial") -> None:
        judged = recorded.assessment
        assert judged is not None
        look, roomy = look_now(recorded), self._roomy
        self.query_one("#big", Big).show(large_word(judged), LOOK_LARGE.text if look and not roomy else "")
        self.query_one("#pins", Big).display = look and roomy
        self.query_one("#pins", Big).show(LOOK_LARGE)
        if head_cell(kept):
            self.head(f"{self._sheet} | {self._direction} throw", head_cell(kept))
        told = kept_cells(recorded, kept)
        self.query_one("#words", Static).update(lines(self.app, result_cells(recorded, kept)))
        self.query_one("#told", Static).update(lines(self.app, told))

    # ---- other keys ----

    def action_board(self) -> None:
        """Find a board; nothing may change while one records."""
        if self.phase in (ARMED, RUNNING):
            return
        self.open_screen("board", choose_for=self._rig_name, then=lambda chosen: self.repaint())

    def may_leave(self) -> bool:
        """The program isn't ended under a running recording."""
        if self.phase in (ARMED, RUNNING):
            self.tell("A throw is being recorded. Press Enter to end it first.", WARN)
            return False
        return True

    def on_unmount(self) -> None:
        """However the program ends, the recording ends with it, and is kept in its own thread."""
        if self.phase in (ARMED, RUNNING):
            from throwbook.jobs.record import ASKED_TO_END, HUNG_UP, PAGE_GONE

            self.desk.ends.set()
            gone = PAGE_GONE if self.app.is_web else HUNG_UP
            self._recording.finish(ASKED_TO_END if getattr(self.app, "asked_to_end", True) else gone)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """Enter means one thing at a time; no change of board while it runs."""
        busy = self.phase in (ARMED, RUNNING)
        allowed = {
            "arm": self.phase == READY and self._source is not None,
            "finish": busy,
            "go_on": self.phase == JUDGED,
            "board": not busy,
            "back": not busy,
        }
        return allowed.get(action, True)
