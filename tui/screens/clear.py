"""The last step of the way back: cause, reason, signature."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from textual.widget import Widget
from textual.widgets import Static

from logger.core.cautions import OUT_OF_USE, QUALIFIED
from logger.core.standing.status import DO_NOT_USE
from tui.fields import CHOICE, FieldSpec
from tui.present import STRONG, WARN, Cell, held_lines
from tui.screens.form_page import FormPage
from tui.widgets.frame import lines

if TYPE_CHECKING:
    from logger.jobs.way_back import WayBack

WORST, ALL = "worst", "all"


class ClearScreen(FormPage[None]):
    """The rules decide whether it counts; nothing is stored when it doesn't."""

    HELP = "way back"

    def __init__(self, rig: str, found: "WayBack") -> None:
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
            *([FieldSpec("which", "it answers", CHOICE, must=True, choices=which)] * self._must_choose),
            FieldSpec("because", "why it may come down", must=True, hint="in a few words"),
            FieldSpec(
                "cause", "cause found", must=self._found.status.level == DO_NOT_USE, hint="what it was"
            ),
            FieldSpec("signed", "signed (your name)", must=True, hint="who answers for it"),
        )

    def first_values(self) -> dict[str, str]:
        """The cause stands in the service log already."""
        return {"cause": self._found.repair.found.what if self._found.repair else ""}

    def body(self) -> Iterator[Widget]:
        """What is signed off stands above the signature."""
        yield Static(id="held", classes="says")
        yield self.make_form()

    def opened(self) -> None:
        """Head line, what it answers, caution."""
        self.head(f"{self._rig} | sign it off")
        held = [Cell(f"- {text}") for text in held_lines(self._found.status)]
        above = lines(self.app, [Cell("What your signature answers:", STRONG), *held])
        self.query_one("#held", Static).update(above)
        if self._found.status.level == DO_NOT_USE:
            self.tell(f"{OUT_OF_USE} {QUALIFIED}", WARN)

    def enter(self) -> None:
        """Ask once more, then hand it to the rules."""
        if self._must_choose and not self.form.field("which").value:
            self.form.field("which").focus_answer()
            self.tell("Say which of these your reason answers: a digit chooses.", WARN)
            return
        signed = self.form.field("signed").value.strip()
        question = f"Bring {self._rig} down from '{self._found.status.level}', signed {signed}?"
        self.confirm(question, "The entry stays in the logbook for good.", self._clear)

    def _clear(self) -> None:
        from logger.jobs.latch import Clearing, clear

        values, found, desk, rig = self.form.values(), self._found, self.desk, self._rig
        brought = Clearing(
            tuple(self._worst) if values.get("which") == WORST else found.orders,
            values["signed"].strip(),
            values["because"].strip(),
            values["cause"].strip(),
            found.repair.id if found.repair else "",
            found.sheet.name if found.sheet else "",
        )
        self.work("clear", lambda: clear(desk.logbook, rig, brought, desk.by or brought.signed, desk.now()))

    def done_clear(self, _: Any) -> None:
        """It counts."""
        self.drop_draft()
        self.dismiss(None)
