"""A person takes a rig up: damage seen, a feeling, anything. Up is quick, down is not."""

from typing import Any

from logger.core.records.writer import person
from tui.fields import CHOICE, FieldSpec
from tui.screens.form_page import FormPage

HOW = (
    ("damage", "damage seen: DO NOT USE"),
    ("person: do not use", "DO NOT USE"),
    ("person: restricted", "restricted"),
    ("person: watch", "watch"),
)


class TakeOutScreen(FormPage[None]):
    """What was seen, in a few words."""

    HELP = "way back"

    def __init__(self, rig: str) -> None:
        super().__init__()
        self._rig = rig

    def draft_name(self) -> str:
        """One for each rig."""
        return f"take-out-{self._rig}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """How far up, and why."""
        return (
            FieldSpec("cause", "take it to", CHOICE, must=True, choices=HOW),
            FieldSpec("because", "what was seen", must=True, hint="in a few words"),
            FieldSpec("by", "your name", must=True),
        )

    def first_values(self) -> dict[str, str]:
        """A name that somebody gave; the computer's account is none."""
        return {"by": person(self.desk.by)}

    def opened(self) -> None:
        """Head line."""
        self.head(f"{self._rig} | take it out of use")

    def enter(self) -> None:
        """Write it; it only goes down by a signed order."""
        from logger.jobs.latch import raise_by_hand

        values, desk, rig = self.form.values(), self.desk, self._rig
        if not values["cause"]:
            self.tell("Choose how far up: a digit chooses.", "warn")
            self.form.field("cause").focus_answer()
            return
        self.work(
            "raise",
            lambda: raise_by_hand(
                desk.logbook, rig, values["cause"], values["because"], values["by"], desk.now()
            ),
        )

    def done_raise(self, _: Any) -> None:
        """Up at once."""
        self.drop_draft()
        self.app.bell()
        self.dismiss(None)
