"""The last step of the way back: cause, reason, signature."""

from typing import TYPE_CHECKING, Any

from logger.core.cautions import OUT_OF_USE, QUALIFIED
from logger.core.standing.status import DO_NOT_USE
from tui.fields import FieldSpec
from tui.screens.form_page import FormPage

if TYPE_CHECKING:
    from logger.jobs.way_back import WayBack


class ClearScreen(FormPage[None]):
    """The rules decide whether it counts; nothing is stored when it doesn't."""

    HELP = "way back"

    def __init__(self, rig: str, found: "WayBack") -> None:
        super().__init__()
        self._rig, self._found = rig, found

    def draft_name(self) -> str:
        """One for each rig."""
        return f"clear-{self._rig}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """Why, and who."""
        return (
            FieldSpec("because", "why it may come down", must=True, hint="in a few words"),
            FieldSpec(
                "cause", "cause found", must=self._found.status.level == DO_NOT_USE, hint="what it was"
            ),
            FieldSpec("signed", "signed (your name)", must=True, hint="who answers for it"),
        )

    def first_values(self) -> dict[str, str]:
        """The cause stands in the service log already."""
        return {"cause": self._found.repair.found.what if self._found.repair else ""}

    def opened(self) -> None:
        """Head line and caution."""
        self.head(f"{self._rig} | sign it off")
        if self._found.status.level == DO_NOT_USE:
            self.tell(f"{OUT_OF_USE} {QUALIFIED}", "warn")

    def enter(self) -> None:
        """Ask once more, then hand it to the rules."""
        signed = self.form.field("signed").value.strip()
        question = f"Bring {self._rig} down from '{self._found.status.level}', signed {signed}?"
        self.confirm(question, "The entry stays in the logbook for good.", self._clear)

    def _clear(self) -> None:
        from logger.jobs.latch import Clearing, clear

        values, found, desk, rig = self.form.values(), self._found, self.desk, self._rig
        brought = Clearing(
            found.orders,
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
