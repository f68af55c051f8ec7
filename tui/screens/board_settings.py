"""How fast a board is asked to sample, and how fast the serial line runs."""

from tui.fields import COUNT, FieldSpec
from tui.screens.form_page import FormPage


class BoardSettingsScreen(FormPage[None]):
    """Kept until the program ends; a board that can't carry it says so, and which baud would."""

    HELP = "board settings"

    def draft_name(self) -> str:
        """One for all boards."""
        return "board-settings"

    def specs(self) -> tuple[FieldSpec, ...]:
        """Both are whole numbers."""
        return (
            FieldSpec("rate_hz", "samples a second", COUNT, must=True, hint="200 is plenty", replaced=True),
            FieldSpec("baud", "baud of the line", COUNT, must=True, hint="115200 is usual", replaced=True),
        )

    def first_values(self) -> dict[str, str]:
        """What counts now."""
        return {"rate_hz": str(self.desk.rate_hz), "baud": str(self.desk.baud)}

    def opened(self) -> None:
        """Head line."""
        self.head("boards | rate and baud")

    def enter(self) -> None:
        """From the next check or throw on."""
        values = self.form.values()
        self.desk.rate_hz, self.desk.baud = int(values["rate_hz"]), int(values["baud"])
        self.drop_draft()
        self.dismiss(None)
