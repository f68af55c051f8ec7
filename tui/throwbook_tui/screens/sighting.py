"""What a person saw after a lock throw. Each pin is asked by itself; nothing is filled in beforehand."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.actions import SkipAction
from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.records import SEEN, person
from throwbook.core.wording import ANSWERS, BOTH_PINS, HANDS, OUT_OF_USE, SIGHTINGS
from throwbook_tui.fields import CHOICE, FieldSpec
from throwbook_tui.present import BAD, WARN, Cell
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.widgets.form import Choice, Field
from throwbook_tui.widgets.frame import lines

if TYPE_CHECKING:
    from throwbook.jobs.sheets import SheetView

IF_NOT = {
    "left_pin": "LEFT pin is NOT in its hole.",
    "right_pin": "RIGHT pin is NOT in its hole.",
    "load_check": "The manufacturer's load check FAILED.",
    "retained_power_off": "The pins MOVED with the power off.",
}
OUT_AT_ONCE = f"The rig is out of use at once. {OUT_OF_USE}"
NOT_RECORDED = f"The logbook does not know of it yet. Press N, then Ctrl-S to record it. {OUT_OF_USE}"
A_NUMBER = "That was a number. Look at the pin first, then press 1, 2 or 3 alone."
HELD_S = 0.7
"""A digit that comes again within this comes from a key that is held down, or was pressed before anybody can have looked at
the next pin. As long as most keyboards wait before they repeat (*common practice, no source*)."""


def _asked(name: str, asked: str) -> FieldSpec:
    choices = tuple((answer, word.sentence) for answer, word in ANSWERS[name].items())
    return FieldSpec(name, asked, CHOICE, must=True, choices=choices)


def _third(spec: FieldSpec) -> str:
    """What to press where nobody looked, or nobody did it."""
    return spec.choices[2][1]


QUESTIONS = (
    _asked("left_pin", "LEFT pin"),
    _asked("right_pin", "RIGHT pin"),
    _asked("load_check", SIGHTINGS["load_check"].column),
    _asked("retained_power_off", "pins, power off"),
)
HOW = FieldSpec("how", "how seen", hint="lamp, mirror, both sides ...", replaced=True)
WHO = FieldSpec("who", "seen by", must=True, hint="the person who looked at the pins", replaced=True)
WHY = FieldSpec("reason", "reason for the correction", hint="only when an earlier answer was wrong")


class SightingScreen(FormPage[None]):
    """One throw, two pins, two checks."""

    HELP = "sighting"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(str(number), f"answer({number})", show=False, priority=True) for number in (1, 2, 3)
    ]
    """At once, before the next key is looked at: of two keys that come in one piece the second is the next question's."""

    def __init__(self, sheet: str, position: int, found: "SheetView", took_out: bool = False) -> None:
        super().__init__()
        self._took_out = took_out
        """The throw itself took the rig out of use."""
        self._sheet, self._position = sheet, position
        self._throw = next(one for one in found.trials if one.position == position)
        self._before = found.seen[self._throw.id]
        self._how = next((one.how for one in found.seen.values() if one.how), "")
        earlier = next((one.by for one in found.seen.values() if one.by), "")
        self._who = earlier.split(",")[0] or str(found.state.answers.get("operator") or "")
        """Who looked on this sheet before, or does it; else nobody is proposed but a name that somebody gave."""
        self._rig = found.state.sheet.rig
        self._went_to = ("", "")
        """Where a digit went on to."""
        self._run: list[Field] = []
        """Questions that digits have answered one after the other, with no other key between."""
        self._stray_s = -HELD_S
        """When a letter came last that answers nothing, by ``monotonic`` [s]."""
        self._digit = (0, 0.0)
        """The digit that came last, and when by ``monotonic`` [s]."""

    def draft_name(self) -> str:
        """One for each throw."""
        return f"sighting-{self._sheet}-{self._position}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """A reason is asked for where something was written before."""
        return (*QUESTIONS, HOW, WHO, WHY) if self._before.at_anything else (*QUESTIONS, HOW, WHO)

    def first_values(self) -> dict[str, str]:
        """How one looks, and who, are proposed as on this sheet before; never what was seen."""
        return {"how": self._how.split(";")[0], "who": self._who or person(self.desk.by)}

    def body(self) -> Iterator[Widget]:
        """Cautions above the questions."""
        yield Static(id="cautions", classes="says")
        yield self.make_form()

    def opened(self) -> None:
        """Show the cautions where the hazard is."""
        self.head(f"{self._sheet} | throw {self._position}: both pins")
        self.query_one("#cautions", Static).update(
            lines(self.app, [Cell(HANDS, WARN), Cell(BOTH_PINS, WARN)])
        )

    def _question(self) -> Field | None:
        """The one that has the cursor."""
        asked = {spec.key for spec in QUESTIONS}
        return next((one for one in self.form.fields if one.has_focus_within and one.spec.key in asked), None)

    def action_answer(self, number: int) -> None:
        """A digit answers a question and goes on to the next one; in a text it is a digit."""
        field = self._question()
        if field is None:
            raise SkipAction
        now_s, (before, before_s) = self.desk.monotonic(), self._digit
        self._digit = number, now_s
        if now_s - self._stray_s < HELD_S:  # the rest of a number
            self._stray_s = now_s
            self.tell_fault(A_NUMBER)
            return
        if number == before and now_s - before_s < HELD_S:
            self.tell_fault(
                f"{field.spec.asked}: look first. The same key came again too soon: press it once more."
            )
            return
        answer, _ = field.spec.choices[number - 1]
        field.set(answer)
        self._run.append(field)
        self.form.leave(field)
        self._went_to = self._at

    def on_choice_stray(self, event: Choice.Stray) -> None:
        """Digits in front of another letter were a number typed in the wrong place: they answered nothing."""
        self._stray_s = self.desk.monotonic()
        if not self._run:
            super().on_choice_stray(event)
            return
        event.stop()
        for field in self._run:
            field.set("")
        self._run[0].focus_answer()
        self._run = []
        self.tell_fault(A_NUMBER)

    @property
    def _at(self) -> tuple[str, str]:
        """Field that has the cursor, and what stands in it."""
        return next(((one.spec.key, one.value) for one in self.form.fields if one.has_focus_within), ("", ""))

    def action_next_field(self) -> None:
        """Enter passes no question without an answer; behind a digit, which has gone on already, it does nothing."""
        field, spare = self._question(), self._at == self._went_to
        self._went_to, self._digit, self._run = ("", ""), (0, 0.0), []
        if spare:
            return
        if field is not None and not field.value:
            self.tell_fault(f"{field.spec.asked}: look first, then press a number; 3 = {_third(field.spec)}.")
        else:
            super().action_next_field()

    def check_and_enter(self) -> None:
        """Each question needs an answer of its own; "not looked" is one."""
        for spec in QUESTIONS:
            field = self.form.field(spec.key)
            if not field.value:
                field.focus_answer()
                self.tell_fault(f"{spec.asked}: not answered yet. Press a number; 3 = {_third(spec)}.")
                return
        values = self.form.values()
        looked = {values["left_pin"], values["right_pin"]} != {"not looked"}
        if looked and not any(letter.isalpha() for letter in values["how"]):  # a digit meant for a choice
            self.form.field("how").focus_answer()
            self.tell("Fill in how the pins were seen: lamp, mirror, both sides ...", WARN)
            return
        super().check_and_enter()

    def enter(self) -> None:
        """Write it down; a NO takes the rig out of use and is asked once more before."""
        values, said_no = self.form.values(), self._said_no()
        if said_no:
            self.confirm_by_enter(
                f"{' '.join(said_no)} Record it?", OUT_AT_ONCE, lambda: self._store(values), BAD
            )
        else:
            self._store(values)

    def _said_no(self) -> list[str]:
        """What stands in the form against the pins, in sentences."""
        values = self.form.values()
        return [IF_NOT[spec.key] for spec in QUESTIONS if values[spec.key] == "no"]

    def action_back(self) -> None:
        """A NO that nobody wrote down would be forgotten."""
        said_no = self._said_no()
        if said_no:
            self.confirm(
                "Leave without recording it?",
                f"{' '.join(said_no)} {NOT_RECORDED}",
                lambda: self.dismiss(None),
                BAD,
            )
        else:
            super().action_back()

    def may_leave(self) -> bool:
        """Nor does the program end over it."""
        if self._said_no():
            self.tell("A NO stands here that is not recorded. Ctrl-S records it; Esc leaves it.", WARN)
            return False
        return True

    def _store(self, values: dict[str, str]) -> None:
        from throwbook.core.records import PinAnswers
        from throwbook.jobs.sheets import see

        desk, sheet, position = self.desk, self._sheet, self._position
        left, right, load, retained = (values[name] for name in SEEN)
        pins = PinAnswers(left, right, values["how"].strip(), load, retained)
        who, reason = values["who"].strip(), values.get("reason", "").strip()
        self.work_once("see", lambda: see(desk.logbook, sheet, [position], pins, who, desk.now(), reason))

    def done_see(self, result: Any) -> None:
        """It is written down; a raised status shows its way back at once, and so does one that the throw raised."""
        self.drop_draft()
        _, raised = result
        if raised or self._took_out:
            self.app.bell()
            self.replace_by("way back", self._rig)
        else:
            self.dismiss(None)
