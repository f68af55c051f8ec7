"""A throw that is not to count, with its reason; it stays on the sheet for everybody to see."""

from typing import Any

from tui.fields import FieldSpec
from tui.present import WARN
from tui.screens.form_page import FormPage

MEANING = (
    "It stays on the sheet, marked as left out, with this reason. A throw that failed, and a pin that wasn't seen, can't be "
    "left out of an acceptance: they cost the sheet."
)


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
            FieldSpec("because", "why it doesn't count", must=True, hint="mistyped, wrong way thrown, ..."),
        )

    def opened(self) -> None:
        """What it means."""
        self.head(f"{self._sheet} | leave out throw {self._position}")
        self.tell(MEANING, WARN)

    def enter(self) -> None:
        """Write it down beside the throw."""
        from logger.jobs.sheets import leave_out

        desk, sheet, position = self.desk, self._sheet, self._position
        because = self.form.field("because").value.strip()
        self.work("leave", lambda: leave_out(desk.logbook, sheet, position, because, desk.by, desk.now()))

    def done_leave(self, _: Any) -> None:
        """Back to the sheet, which asks for another throw."""
        self.drop_draft()
        self.dismiss(None)
