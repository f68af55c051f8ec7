"""One throw by hand: stopwatch on a key, clamp meter and voltmeter typed in; judged as it is typed."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.assessment import CUT_OFF, FAIL, INFO, NO_RUN, STALL
from throwbook.core.quantities.units import show_rest, typed
from throwbook.core.records import BENCH
from throwbook.core.rig import LOCK
from throwbook.core.sheets.hand_readings import STOPPED_SHORT, HandThrow, Reading
from throwbook.core.wording import ENDS, FIGURES, SHOWN_AT
from throwbook.errors import InputError, ThrowbookError
from throwbook_tui.fields import (
    CHOICE,
    MOMENT,
    FieldSpec,
    accuracy_complaint,
    moment_from,
)
from throwbook_tui.present import (
    BAD,
    QUIET,
    STRONG,
    WARN,
    Cell,
    cause_lines,
    sentence,
    spoken,
    verdict_cell,
)
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import key
from throwbook_tui.widgets.frame import Big, lines

if TYPE_CHECKING:
    from throwbook.core.assessment import Assessment
    from throwbook.jobs.enter import Entered, LastLook
    from throwbook.jobs.sheets import SheetView

ENDED = tuple((end, ENDS[end].sentence) for end in (CUT_OFF, STALL, STOPPED_SHORT, NO_RUN))
READINGS: tuple[tuple[str, str, str, str], ...] = (
    ("time_s", "time", FIGURES["travel_time_s"].sentence, "F5 runs it; or type 14.3 s"),
    ("run_current_a", "current", FIGURES["run_current_a"].sentence, "clamp meter, running: 2.1 A"),
    ("peak_current_a", "current", FIGURES["peak_run_current_a"].sentence, "2.9 A; blank: not read"),
    ("voltage_v", "voltage", FIGURES["mean_voltage_v"].sentence, "12.4 V; blank: not read"),
    ("rest_voltage_v", "voltage", FIGURES["rest_voltage_v"].sentence, "12.7 V; blank: not read"),
)


COST = "If this is what happened, record it. The sheet can then no longer be accepted, and the rig's status is tightened at once. If a reading is mistyped, press N and correct it."
NOT_BY_ITSELF = "If it stalled or stopped short, press N and set 'how it ended' first."
READ_RUNNING = "If you did read it, press N and type it. Else press Y: the throw was made, and stands on the sheet. Leave it out there, let the motor rest, then throw again. Read the clamp meter in mid-stroke, while the motor runs: the peak that a meter holds is no running current."
STALLED_AT = "Stalled: type the stall current in 'running current'."
AT_ONCE = "Recorded faster than this throw can have run. It keeps the time of the throw before: only their order is known, and no rest between them."
MOST_LINES = 4
"""What the judgement may take from the form, notes included."""


def judged_cells(verdict: str, tone: str, notes: Sequence[str], width: int) -> list[Cell | str]:
    """The verdict with its reason whole; of the notes those that there is room for and that say something else."""
    cells: list[Cell | str] = [Cell(verdict, tone)]
    used = 1 + len(verdict) // max(width, 20)
    for note in map(sentence, notes):
        used += 1 + len(note) // max(width, 20)
        if used > MOST_LINES:
            break
        if note.rstrip(".").casefold() not in verdict.casefold():
            cells.append(Cell(note, QUIET))
    return cells


def _cost(throw: HandThrow) -> str:
    """What writing a failed throw down means; "by itself" stands there without anybody's doing."""
    return f"{COST} {NOT_BY_ITSELF}" if throw.ended == CUT_OFF else COST


class EnterScreen(FormPage[None]):
    """The stopwatch key works wherever the cursor is."""

    HELP = "enter"
    BINDINGS: ClassVar[list[BindingType]] = [key("f5", "stopwatch", "start/stop", "F5", priority=True)]

    def __init__(
        self, rig: str, sheet: str, direction: str, day: str = "", began_s: float | None = None
    ) -> None:
        super().__init__()
        self._rig, self._sheet, self._direction = rig, sheet, direction
        self._day = day
        """Of the sheet, where it is typed in from paper."""
        self._began_s = began_s
        """When the stopwatch was started, by ``monotonic`` [s]: at the key that opened this, where that was F5."""
        self._judged: Assessment | None = None
        self._ended = ""

    def draft_name(self) -> str:
        """One for each sheet and way."""
        return f"enter-{self._sheet}-{self._direction}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """Readings, then how it ended."""
        asked = [row for row in READINGS if not (self._tools.no_peak_by and row[0] == "peak_current_a")]
        rows = [FieldSpec(name, words, kind, hint=hint) for name, kind, words, hint in asked]
        clamp = FieldSpec(
            "clamp", "clamp meter accuracy", hint="2% + 3 digits; blank: assumed", judge=accuracy_complaint
        )
        return (
            *rows,
            FieldSpec("ended", "how it ended", CHOICE, choices=ENDED),
            *([clamp] if self._tools.clamp.assumed else []),  # a meter that the sheet names says it
            FieldSpec(
                "when",
                "date and time",
                MOMENT,
                hint="blank: now; or 2026-03-14 09:12",
                judge=self.still_to_come,
                today=date.fromisoformat(self._day) if self._day else self.desk.today,
            ),
            FieldSpec("note", "note"),
        )

    def first_values(self) -> dict[str, str]:
        """Most throws end by themselves; the meter is that of the throw before, the day that of the sheet."""
        from throwbook.jobs.enter import clamp_meter_used
        from throwbook.jobs.find import units_of
        from throwbook.jobs.meters import instruments_of

        self._units = units_of(self.desk.logbook, self._rig)
        self._tools = instruments_of(self.desk.logbook, self._sheet)
        clamp = clamp_meter_used(self.desk.logbook, self._sheet)
        return {"ended": CUT_OFF, "clamp": clamp, "when": self._day}

    def system(self) -> str:
        """The rig's: days are written in its way."""
        return self._units

    def body(self) -> Iterator[Widget]:
        """Stopwatch large, form, judgement."""
        yield Big(id="big")
        yield self.make_form()
        yield Static(id="judged", classes="says")

    def opened(self) -> None:
        """Start with the caution and the clock at zero."""
        self.head(f"{self._sheet} | {self._direction} throw by hand")
        self.set_interval(0.1, self._tick)
        self._tick()
        cautions = " ".join(SHOWN_AT["record"])
        if self._began_s is not None:
            self.tell(f"{self._timing_said} {cautions}", WARN)
        elif not self.draft:
            self.tell(cautions, WARN)
        self.changed()

    # ---- stopwatch ----

    def action_stopwatch(self) -> None:
        """Start; then stop, and the time stands in its field."""
        now_s = self.desk.monotonic()
        if self._began_s is None:
            self._began_s = now_s
            self.tell(self._timing_said, WARN)
        else:
            ran_s, self._began_s = now_s - self._began_s, None
            self.form.field("time_s").set(f"{ran_s:.2f} s")
            self.form.field("run_current_a").focus_answer()
            self.app.bell()
            self.tell("Stopped. Your reaction time is included in the uncertainty.")
        self._tick()

    @property
    def _timing_said(self) -> str:
        early = f" {show_rest(self._rest_left_s)} before its rest was over." if self._rest_left_s else ""
        return f"Timing.{early} Stand clear. Press F5 when the motor stops."

    def _tick(self) -> None:
        big = self.query_one(Big)
        if self._began_s is not None:
            big.show(Cell(f"{self.desk.monotonic() - self._began_s:.1f} s", WARN))
        else:
            text = self.form.field("time_s").value.strip()
            cell = Cell(text if text and self.form.field("time_s").checked.good else "0.0 s", STRONG)
            left_s = self._rest_left_s
            big.show(
                cell,
                f"Rest: wait {show_rest(left_s)} more before the next throw." if left_s else "",
            )

    @property
    def _rest_left_s(self) -> float:
        """What the duty cycle still asks for [s]; readings from paper may be typed meanwhile."""
        until_s, _ = self.desk.rests.get(self._rig, (0.0, 0.0))
        return max(0.0, until_s - self.desk.monotonic())

    def action_back(self) -> None:
        """What is typed stays as a draft; a running stopwatch would be lost."""
        if self.may_leave():
            super().action_back()

    def may_leave(self) -> bool:
        """Nothing is left under a running stopwatch."""
        if self._began_s is not None:
            self.tell("The stopwatch is running. Press F5 to stop it first.", WARN)
            return False
        return True

    # ---- judged as typed ----

    def throw(self) -> HandThrow | None:
        """What is typed, or None while something can't be read."""
        values = self.form.values()
        readings: dict[str, Any] = {}
        for name, kind, _, _ in READINGS:
            text = values.get(name, "").strip()
            if text:
                text = self.form.field(name).checked.complete or text  # as Enter will read it
                try:
                    found = typed(text, kind)
                except InputError:
                    return None
                readings[name] = Reading(found.value, found.step)
        return HandThrow(
            self._direction, ended=values["ended"] or CUT_OFF, note=values["note"].strip(), **readings
        )

    def changed(self) -> None:
        """Judge it in a worker, as it would be judged when it is kept."""
        ended = self.form.field("ended").value
        if ended != self._ended and ended == STALL:
            self.tell(STALLED_AT)
        self._ended = ended
        throw = self.throw()
        if throw is None or (throw.time_s is None and throw.run_current_a is None):
            self._judged = None
            self.repaint()
            return
        from throwbook.jobs.enter import preview

        logbook, rig, sheet, tools = self.desk.logbook, self._rig, self._sheet, self._instruments()
        self.work("judge", lambda: (throw, preview(logbook, rig, sheet, throw, tools)))

    def done_judge(self, result: "tuple[HandThrow, Assessment]") -> None:
        """An answer to older typing is passed over."""
        if result[0] == self.throw():
            self._judged = result[1]
            self.repaint()

    def repaint(self) -> None:
        """The judgement so far."""
        super().repaint()
        self._tick()
        cells: list[Cell | str] = [Cell("No verdict yet: enter a time or a current.", QUIET)]
        if self._judged is not None:
            word, tone = verdict_cell(self._judged.verdict)
            cells = judged_cells(
                f"{sentence(word)} {sentence(self._judged.because)}",
                tone,
                self._judged.notes,
                self.size.width - 2,
            )
            # What the meter leaves open decides nothing, and is seen all the same: heavier than the baseline, colder.
            cells[1:1] = [
                Cell(sentence(one.because), WARN)
                for one in self._judged.signs
                if one.sign == "drag" and one.level == INFO
            ]
        self.query_one("#judged", Static).update(lines(self.app, cells))

    def _instruments(self) -> Any:
        from throwbook.core.sheets.hand_readings import CLAMP_METER, Instruments, accuracy_from

        text = self.form.values().get("clamp", "").strip()
        return Instruments(accuracy_from(text) if text and not accuracy_complaint(text) else CLAMP_METER)

    # ---- keep ----

    def enter(self) -> None:
        """Onto the sheet."""
        throw = self.throw()
        if throw is None or "enter" in self._being_written:
            return
        if throw.time_s is None and throw.run_current_a is None and throw.ended == CUT_OFF:
            self.tell("Enter a time or a current first.", WARN)
            return
        from throwbook.jobs.enter import last_look

        logbook, rig, sheet, tools = self.desk.logbook, self._rig, self._sheet, self._instruments()
        self.work_once("look", lambda: (throw, last_look(logbook, rig, sheet, throw, tools)))

    def done_look(self, result: "tuple[HandThrow, LastLook]") -> None:
        """What can't be meant, and what fails, is asked: a throw that is written down is never taken back."""
        throw, look = result
        judged, slip = look.judged, look.slip
        if slip:
            question = "Record these readings as they are?"
            cost = f" As typed it FAILS. {_cost(throw)}" if judged.verdict == FAIL else ""
            meaning = f"{sentence(slip)} Did you really read that? A recorded throw cannot be deleted.{cost}"
            self.confirm(question, meaning, lambda: self._write(throw), WARN)
        elif judged.verdict == FAIL:
            question = "This throw FAILS. Record it?"
            causes = [cell.text for cell in cause_lines(judged)]
            meaning = "\n".join(
                (
                    f"{sentence(judged.because)} A recorded throw cannot be deleted. {_cost(throw)}",
                    "",
                    *causes,
                )
            )
            self.confirm(question, meaning, lambda: self._write(throw), BAD)
        elif look.missing:
            self.confirm(
                "Record it without a running current?",
                f"{sentence(look.missing)} {READ_RUNNING}",
                lambda: self._write(throw),
                WARN,
            )
        else:
            self._write(throw)

    def _write(self, throw: HandThrow) -> None:
        from throwbook.jobs.enter import HandEntry
        from throwbook.jobs.enter import enter as write_down

        desk, rig, tools = self.desk, self._rig, self._instruments()
        when = self.form.field("when").value.strip()
        thrown_at = moment_from(when, desk.now()) if when else desk.now()
        entry = HandEntry([throw], "", self._sheet, instruments=tools, thrown_at=thrown_at, by_entry=not when)
        self.work_once("enter", lambda: write_down(desk.logbook, rig, entry, desk.by, desk.now()))

    def done_enter(self, done: "Entered") -> None:
        """It is on the sheet; rest and pins come next there."""
        self.drop_draft()
        self.app.bell()
        from throwbook.core.sheets.sheet import plan_from

        when, rest_s = self.form.field("when").value.strip(), plan_from(done.state.sheet.plan).rest_s
        if not when:
            self.desk.rests[self._rig] = (self.desk.monotonic() + rest_s, rest_s)
        if done.at_once:
            self.app.notify(AT_ONCE, severity="warning", timeout=8)
        if not done.took_out:
            self.dismiss(None)
        elif self._direction == LOCK and done.state.sheet.kind != BENCH:
            from throwbook.jobs.sheets import view

            logbook, sheet = self.desk.logbook, done.state.name
            self.work_once("view", lambda: view(logbook, sheet))
        else:
            self.replace_by("way back", self._rig)

    def failed_view(self, error: ThrowbookError) -> None:
        """The throw is written down: the way back must come all the same."""
        self.app.notify(spoken(error), severity="error", timeout=8)
        self.replace_by("way back", self._rig)

    def done_view(self, found: "SheetView") -> None:
        """A stall says nothing of what a person sees: both pins first, then the way back."""
        self.replace_by("sighting", found.state.name, found.last_lock_throw, found, took_out=True)
