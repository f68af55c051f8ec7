"""Restrict a rig, see the steps to clear its orders, and sign a clearance."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.records import person
from throwbook.core.status.latch import CAUSE_FOUND, CAUSES, DO_NOT_USE, RECOMMISSIONED, REPAIR
from throwbook.core.status.status_text import refused, step_in_words
from throwbook.core.wording import BOTH_PINS, OUT_OF_USE, QUALIFIED
from throwbook_tui.context import start_sheet
from throwbook_tui.fields import CHOICE, FieldSpec
from throwbook_tui.present import (
    BAD,
    GOOD,
    NEXT,
    QUIET,
    STATUSES,
    STRONG,
    WARN,
    Cell,
    reason_lines,
)
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import Big, lines, listed

if TYPE_CHECKING:
    from throwbook.jobs.latch import Clearing
    from throwbook.jobs.steps_to_clear import StepsToClear


WORST, ALL = "worst", "all"


class ClearScreen(FormPage[None]):
    """The rules decide whether it counts; nothing is stored when it doesn't."""

    HELP = "way back"

    def __init__(self, rig: str, found: "StepsToClear") -> None:
        super().__init__()
        self._rig, self._found = rig, found

    def draft_name(self) -> str:
        """One for each rig."""
        return f"clear-{self._rig}"

    @property
    def _worst(self) -> list[str]:
        """Ids of what holds the rig as high as it is."""
        status = self._found.status
        return [one.ids[0] for one in status.open if one.level == status.level]

    @property
    def _must_choose(self) -> bool:
        """Something less grave isn't answered along with the rest, unless a person says so."""
        mixed = len(self._worst) < len(self._found.status.open)
        return mixed and self._found.status.level != DO_NOT_USE

    def specs(self) -> tuple[FieldSpec, ...]:
        """Which, why, and who."""
        level = self._found.status.level
        which = (WORST, f"only '{level}'"), (ALL, "all that is listed")
        return (
            *([FieldSpec("which", "orders to clear", CHOICE, must=True, choices=which)] * self._must_choose),
            FieldSpec("because", "reason to clear it", must=True, hint="in a few words"),
            FieldSpec(
                "cause", "cause found", must=self._found.status.level == DO_NOT_USE, hint="cause found"
            ),
            FieldSpec("signed", "signed by", must=True, hint="your name"),
        )

    def first_values(self) -> dict[str, str]:
        """The cause stands in the service log already."""
        return {"cause": self._found.repair.found.what if self._found.repair else ""}

    def body(self) -> Iterator[Widget]:
        """The signature, and below it what it clears."""
        yield self.make_form()
        with VerticalScroll():
            yield Static(id="held", classes="says")

    def opened(self) -> None:
        """Head line, what it answers, caution."""
        self.head(f"{self._rig} | clear an order")
        held = [Cell(f"- {text}") for text in reason_lines(self._found.status)]
        above = lines(self.app, [Cell("Orders that your signature clears:", STRONG), *held])
        self.query_one("#held", Static).update(above)
        if self._found.status.level == DO_NOT_USE:
            self.tell(f"{OUT_OF_USE} {QUALIFIED}", WARN)

    def enter(self) -> None:
        """Hand it to the rules; ask once more where it counts."""
        from throwbook.jobs.latch import check_clearing

        desk, rig, brought = self.desk, self._rig, self._brought()
        self.work_once(
            "check", lambda: check_clearing(desk.logbook, rig, brought, desk.by or brought.signed, desk.now())
        )

    def done_check(self, _: None) -> None:
        """It would count."""
        signed = self.form.field("signed").value.strip()
        question = f"Clear '{self._found.status.level}' of {self._rig}, signed {signed}?"
        self.confirm(question, "The entry stays in the logbook for good.", self._clear)

    def _brought(self) -> "Clearing":
        from throwbook.jobs.latch import Clearing

        values, found = self.form.values(), self._found
        return Clearing(
            tuple(self._worst) if values.get("which") == WORST else found.orders,
            values["signed"].strip(),
            values["because"].strip(),
            values["cause"].strip(),
            found.repair.id if found.repair else "",
            found.sheet.name if found.sheet else "",
        )

    def _clear(self) -> None:
        from throwbook.jobs.latch import clear

        desk, rig, brought = self.desk, self._rig, self._brought()
        self.work_once(
            "clear", lambda: clear(desk.logbook, rig, brought, desk.by or brought.signed, desk.now())
        )

    def done_clear(self, _: Any) -> None:
        """It counts."""
        self.drop_draft()
        self.dismiss(None)


HAPPENED = (
    ("stall", "it stalled or stuck"),
    ("pin not seen", "a pin NOT in its hole"),
    ("damage", "damage seen"),
    ("person: do not use", "other: DO NOT USE"),
    ("person: restricted", "other: restricted"),
    ("person: watch", "other: watch"),
)
"""Cause of the order, and what a person calls it."""
REPORTED = "reported by a person; no throw of it was measured"


class TakeOutScreen(FormPage[None]):
    """What happened without a sheet: three questions, and the status is tightened at once."""

    HELP = "way back"

    def __init__(self, rig: str) -> None:
        super().__init__()
        self._rig = rig

    def draft_name(self) -> str:
        """One for each rig."""
        return f"take-out-{self._rig}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """What, how, and who says so."""
        return (
            FieldSpec("cause", "what happened", CHOICE, must=True, choices=HAPPENED),
            FieldSpec("because", "what was seen", hint="which side, when, in a few words"),
            FieldSpec("by", "your name", must=True),
        )

    def first_values(self) -> dict[str, str]:
        """A name that somebody gave; the computer's account is none."""
        return {"by": person(self.desk.by)}

    def opened(self) -> None:
        """Head line, and what to do before anything else."""
        self.head(f"{self._rig} | it stalled, stuck, a pin is out, damage")
        self.changed()

    def changed(self) -> None:
        """What the answer does to the rig; before one is given, the gravest."""
        level = CAUSES.get(self.form.field("cause").value, (DO_NOT_USE,))[0]
        self.tell(
            OUT_OF_USE
            if level == DO_NOT_USE
            else f"The rig is then at '{level}' or worse, until somebody signs.",
            WARN,
        )

    def enter(self) -> None:
        """Write it; it only goes down by a signed order."""
        from throwbook.core.status.latch import BY_PERSON
        from throwbook.jobs.latch import raise_by_hand

        values, desk, rig = self.form.values(), self.desk, self._rig
        cause, because = values["cause"], values["because"].strip()
        if cause.startswith(BY_PERSON) and not because:
            self.tell("Say what was seen, in a few words.", WARN)
            self.form.field("because").focus_answer()
        else:
            why, by = because or REPORTED, values["by"]
            self.work_once("raise", lambda: raise_by_hand(desk.logbook, rig, cause, why, by, desk.now()))

    def done_raise(self, _: Any) -> None:
        """Up at once; what clears it is shown."""
        self.drop_draft()
        self.app.bell()
        self.replace_by("way back", self._rig)


SAID = {
    "cause found": "find the cause and log it (with the repair, in the service log)",
    "repair": "log the repair: what was found, what was done",
    "recommissioned": "commission again in full, on a sheet planned after the repair",
    "signed": "sign it",
    "reason": "give the reason",
}


JUDGED_AT = {
    True: "J on the rig's screen, or on the list of rigs",
    False: "'check' under L on the list of rigs",
}
"""Where what isn't judged yet is judged: a recording, or throws that an earlier version judged."""


class StepsToClearScreen(Page[None]):
    """Enter does the step that is next; there is no key for a later one."""

    HELP = "way back"
    BINDINGS: ClassVar[list[BindingType]] = [key("enter", "next", "do the next step", "Enter")]

    def __init__(self, rig: str) -> None:
        super().__init__()
        self._rig = rig
        self._found: StepsToClear | None = None

    def body(self) -> Iterator[Widget]:
        """Large word, what holds it, the steps."""
        yield Big(id="big")
        with VerticalScroll():
            yield Static(id="first")

    def on_mount(self) -> None:
        """Load."""
        self.head(f"{self._rig} | steps to clear")
        self.reload()
        self.query_one(VerticalScroll).focus()

    def on_screen_resume(self) -> None:
        """A step may be done."""
        if self._found is not None:
            self.reload()

    def reload(self) -> None:
        """Read it again."""
        from throwbook.jobs.steps_to_clear import steps_to_clear

        logbook, rig = self.desk.logbook, self._rig
        self.work("way", lambda: steps_to_clear(logbook, rig))

    def done_way(self, found: "StepsToClear") -> None:
        """Show it."""
        self._found = found
        self.repaint()
        self.refresh_bindings()

    def repaint(self) -> None:
        """Reasons, steps, cautions."""
        super().repaint()
        if self._found is None:
            return
        status = self._found.status
        mark, tone = STATUSES[status.level]
        self.head(
            f"{self._rig} | steps to clear",
            Cell(f"{mark} {status.level.upper() if tone == BAD else status.level}", tone),
        )
        self.query_one(Big).show(Cell(status.level.upper(), tone))
        held = reason_lines(status)
        worst = [text for text in held if text.startswith(status.level)]
        lesser = [text for text in held if text not in worst]
        # Where the hazard is the caution stands first, and no line is spent on looks: at 24 rows the steps still show.
        cells: list[Cell | str] = [Cell(OUT_OF_USE, BAD)] if status.level == DO_NOT_USE else []
        cells += [Cell("Open orders:", STRONG)] if held else []
        cells += [Cell(f"- {text}") for text in worst]
        cells += [Cell(f"and {len(lesser)} less severe: below", QUIET)] if lesser else []
        cells += [Cell(text, WARN) for text in refused(status)]
        steps = "Steps to clear the order, in this order; none can be skipped:"
        cells.append(Cell(steps if self._found.steps else "No order is open against this rig.", STRONG))
        first = dict.fromkeys((step_in_words(one.step), bool(one.journal)) for one in status.pending)
        cells += [Cell(f"[ ] first {step}: {JUDGED_AT[recording]}", WARN) for step, recording in first]
        following = True
        for number, step in enumerate(self._found.steps, start=1):
            mark = "[x]" if step.done else "[ ]"
            what = f": {step.with_what}" if step.with_what else ""
            is_next = following and not step.done
            cells.append(
                Cell(
                    f"{mark} {number}. {SAID[step.need]}{what}{NEXT if is_next else ''}",
                    GOOD if step.done else WARN if is_next else "",
                )
            )
            following = following and step.done
        if lesser:
            cells += [
                Cell(""),
                Cell("Also open:", STRONG),
                *(Cell(f"- {one}") for one in lesser),
            ]
        cells += [Cell(""), Cell(QUALIFIED if status.level == DO_NOT_USE else BOTH_PINS, WARN)]
        self.query_one("#first", Static).update(listed(self.app, cells))

    def action_next(self) -> None:
        """Do the first step that isn't done."""
        assert self._found is not None
        step = next((one for one in self._found.steps if not one.done), None)
        if step is None:
            return
        if step.need in (CAUSE_FOUND, REPAIR):
            self.open_screen("service", self._rig, repair=self._found)
        elif step.need == RECOMMISSIONED:
            if self._found.open_sheet is not None:
                self.open_screen("sheet", self._found.open_sheet.name)
            else:
                start_sheet(self.app, self._rig, "commissioning")
        else:
            self.open_screen("clear", self._rig, self._found)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """Nothing to do in service."""
        return not (action == "next" and (self._found is None or not self._found.steps))
