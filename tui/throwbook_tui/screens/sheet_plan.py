"""Plan a sheet: cautions confirmed one by one, kind and number of throws, the questions of every sheet."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.records import BY_BOARD, BY_HAND, COMMISSIONING, SHEET_KINDS, person
from throwbook.core.sheets.sheet import KINDS
from throwbook.core.wording import SHOWN_AT
from throwbook.errors import ThrowbookError
from throwbook_tui.fields import (
    ASKED,
    CHOICE,
    COUNT,
    DATE,
    FieldSpec,
    answers_from,
    as_typed,
    question_specs,
)
from throwbook_tui.present import BAD, GOOD, QUIET, STRONG, WARN, Cell, spoken
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import listed

if TYPE_CHECKING:
    from throwbook.jobs.sheets import BeforePlanning


MADE_READY = (
    "The attachment is on the ground or taken off.",
    "The area is clear, and everyone nearby knows that pins are about to move.",
    "I can reach the switch that stops the actuator.",
)


class CautionsScreen(Page[bool]):
    """Each line is confirmed by its own number: no key for all at once, and none that does it by being held down."""

    HELP = "cautions"
    BINDINGS: ClassVar[list[BindingType]] = [
        *(key(str(number), f"confirm({number})", "confirm") for number in range(1, 10)),
        key("enter,space", "read", "", show=False),
    ]

    def __init__(self, rig: str, kind: str) -> None:
        super().__init__()
        self._rig = rig
        self._cautions = SHOWN_AT.get(kind, SHOWN_AT["commissioning"])
        self._done = 0

    def body(self) -> Iterator[Widget]:
        """All lines, the next one marked."""
        with VerticalScroll(can_focus=False):
            yield Static(id="first")

    def on_mount(self) -> None:
        """First line."""
        self.head(f"{self._rig} | before anything moves")
        self.repaint()

    def repaint(self) -> None:
        """Mark what is acknowledged."""
        super().repaint()
        cells: list[Cell | str] = [
            Cell("Read each line, then press its number to confirm it.", STRONG),
            Cell(""),
        ]
        for number, text in enumerate((*self._cautions, *MADE_READY), 1):
            if number == len(self._cautions) + 1:
                cells += [Cell(""), Cell("At the machine:", STRONG)]
            if number <= self._done:
                cells.append(Cell(f"[x] {number}. {text}", GOOD))
            elif number == self._done + 1:
                cells.append(Cell(f"[ ] {number}. {text}  <-\N{NO-BREAK SPACE}{number}", WARN))
            else:
                cells.append(Cell(f"[ ] {number}. {text}", QUIET))
        self.query_one("#first", Static).update(listed(self.app, cells))

    def action_confirm(self, number: int) -> None:
        """The line that is next."""
        self._done = number
        if self._done == len(self._cautions) + len(MADE_READY):
            self.dismiss(True)
        else:
            self.tell("")
            self.repaint()
            self.refresh_bindings()

    def action_read(self) -> None:
        """Enter would run through all of them."""
        self.tell(f"Read line {self._done + 1}, then press {self._done + 1}.", WARN)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """Only the number of the line that is next confirms."""
        return action != "confirm" or parameters == (self._done + 1,)

    def action_back(self) -> None:
        """Not now."""
        self.dismiss(False)


class QuestionsScreen(FormPage[None]):
    """Of an open sheet."""

    HELP = "sheet plan"

    def __init__(self, sheet: str, answers: Mapping[str, Any], units: str) -> None:
        super().__init__()
        self._sheet, self._answers, self._units = sheet, answers, units

    def draft_name(self) -> str:
        """One for each sheet."""
        return f"questions-{self._sheet}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """As when it was planned."""
        return question_specs()

    def first_values(self) -> dict[str, str]:
        """What is answered already."""
        return {
            key: as_typed(key, value, self._units)
            for key, value in self._answers.items()
            if value is not None and key in ASKED
        }

    def system(self) -> str:
        """The rig's."""
        return self._units

    def opened(self) -> None:
        """Head line."""
        self.head(f"{self._sheet} | questions")

    def enter(self) -> None:
        """Write the answers down."""
        from throwbook.jobs.sheets import answer

        desk, sheet, told = self.desk, self._sheet, answers_from(self.form.values())
        changed = {key: value for key, value in told.items() if self._answers.get(key) != value}
        if not changed:
            self.drop_draft()
            self.dismiss(None)
            return
        self.work_once("answer", lambda: answer(desk.logbook, sheet, changed, desk.by, desk.now()))

    def done_answer(self, _: Any) -> None:
        """Written down."""
        self.drop_draft()
        self.dismiss(None)


WORDS = {
    "bench": "bench",
    "commissioning": "commissioning",
    "seasonal": "seasonal",
    "after-service": "after service",
    "spot": "spot",
}


MEASURED_BY = ((BY_BOARD, "a board"), (BY_HAND, "stopwatch and meter"))
TOO_EARLY = "The rig is out of use and no repair is logged yet, so a commissioning sheet planned now will not clear it. Press Esc, then W on the rig's screen, and log cause and repair first."


def named(text: str) -> list[str]:
    """Names with commas between them."""
    return [name.strip() for name in text.split(",") if name.strip()]


class SheetPlanScreen(FormPage[str]):
    """Gives the name of the new sheet."""

    HELP = "sheet plan"

    def __init__(self, rig: str, kind: str = "", by_hand: bool = False) -> None:
        super().__init__()
        self._rig, self._kind, self._by_hand = rig, kind, by_hand
        self._too_early = False
        self._knows, self._entered = False, False
        self._meters: tuple[str, ...] = ()
        """Names of those that the logbook keeps."""

    def _unknown_meters(self, text: str) -> str:
        unknown = [name for name in named(text) if name not in self._meters]
        known = ", ".join(self._meters) or "none; M on the list of rigs records one"
        return f"not recorded: {', '.join(unknown)}. Recorded meters: {known}" if unknown else ""

    def draft_name(self) -> str:
        """One for each rig."""
        return f"sheet-plan-{self._rig}"

    def first_values(self) -> dict[str, str]:
        """The kind, how it is measured, and a name that somebody gave: the computer's account is none."""
        measured_by = BY_BOARD if self.desk.practice else BY_HAND if self._by_hand else ""
        return {"kind": self._kind, "measured_by": measured_by, "operator": person(self.desk.by)}

    def specs(self) -> tuple[FieldSpec, ...]:
        """What for, how many, then the questions."""
        kinds = tuple((kind, WORDS[kind]) for kind in SHEET_KINDS)
        return (
            FieldSpec("kind", "kind of sheet", CHOICE, must=True, choices=kinds),
            FieldSpec("measured_by", "measured by", CHOICE, must=True, choices=MEASURED_BY),
            FieldSpec(
                "meters", "meters", hint="clamp 1, multimeter 2; blank: assumed", judge=self._unknown_meters
            ),
            FieldSpec("throws", "throws each way", COUNT, hint="blank: the usual number"),
            FieldSpec(
                "day",
                "day of the throws",
                DATE,
                hint="blank: as made; copied from paper: its day",
                judge=self.still_to_come,
            ),
            *question_specs(),
        )

    def opened(self) -> None:
        """Head line; the kind that was asked for stands, whatever the draft says."""
        self.head(f"{self._rig} | plan a sheet")
        if self._kind:
            self.form.field("kind").set(self._kind)
        self.changed()
        from throwbook.jobs.sheets import before_planning

        logbook, rig = self.desk.logbook, self._rig
        self.work("before", lambda: before_planning(logbook, rig))

    def done_before(self, found: "BeforePlanning") -> None:
        """Units, how this rig was measured last, and whether a commissioning sheet would come too early."""
        self._knows = True
        self._too_early, self._meters = found.repair_first, found.meters
        self.form.shown_in(found.units)
        for name, proposed in (
            ("kind", found.kind),
            ("measured_by", found.measured_by or (BY_BOARD if self.desk.port else "")),
            ("meters", ", ".join(found.used)),
        ):
            if not self.form.field(name).value:
                self.form.field(name).set(proposed)
        self.changed()
        if self._entered:
            self._entered = False
            self.action_enter()

    def failed_before(self, error: ThrowbookError) -> None:
        """Nothing is proposed; whoever enters it is told the same again."""
        self._knows = True
        self.tell(spoken(error), BAD)

    def check_and_enter(self) -> None:
        """Entered before the form knows how this rig is measured, it waits for that."""
        if self._knows:
            super().check_and_enter()
        else:
            self._entered = True

    def changed(self) -> None:
        """Say how many throws it comes to; warn of a sheet that would prove nothing."""
        kind, throws = self.form.field("kind").value, self.form.field("throws").value.strip()
        if kind == COMMISSIONING and self._too_early:
            self.tell(TOO_EARLY, "warn")
        elif kind and not throws:
            usual, fewest = KINDS[kind]
            self.tell(
                f"{WORDS[kind].capitalize()} sheet: {usual} throws each way by default, at least {fewest}."
            )

    def enter(self) -> None:
        """Plan it."""
        from throwbook.jobs.sheets import plan

        values = self.form.values()
        throws = int(values["throws"]) if values["throws"].strip() else None
        desk, rig = self.desk, self._rig
        by = values["operator"].strip() or desk.by
        self.work_once(
            "plan",
            lambda: plan(
                desk.logbook,
                rig,
                values["kind"],
                by,
                desk.now(),
                throws,
                answers_from(values),
                meters=named(values["meters"]),
                measured_by=values["measured_by"],
                day=values["day"].strip(),
            ),
        )

    def done_plan(self, made: Any) -> None:
        """The sheet is there."""
        self.drop_draft()
        self.dismiss(made[0].name)
