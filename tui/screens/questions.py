"""The questions of a sheet, answered later or corrected; the earlier answer stays beside the new one."""

from collections.abc import Mapping
from typing import Any

from tui.fields import FieldSpec
from tui.screens.form_page import FormPage
from tui.sheet_questions import ASKED, answers_from, as_typed, question_specs


class QuestionsScreen(FormPage[None]):
    """Of an open sheet."""

    HELP = "sheet plan"

    def __init__(self, sheet: str, answers: Mapping[str, Any]) -> None:
        super().__init__()
        self._sheet, self._answers = sheet, answers

    def draft_name(self) -> str:
        """One for each sheet."""
        return f"questions-{self._sheet}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """As when it was planned."""
        return question_specs()

    def first_values(self) -> dict[str, str]:
        """What is answered already."""
        return {
            key: as_typed(key, value)
            for key, value in self._answers.items()
            if value is not None and key in ASKED
        }

    def opened(self) -> None:
        """Head line."""
        self.head(f"{self._sheet} | questions")

    def enter(self) -> None:
        """Write the answers down."""
        from logger.jobs.sheets import answer

        desk, sheet, told = self.desk, self._sheet, answers_from(self.form.values())
        changed = {key: value for key, value in told.items() if self._answers.get(key) != value}
        if not changed:
            self.drop_draft()
            self.dismiss(None)
            return
        self.work("answer", lambda: answer(desk.logbook, sheet, changed, desk.by, desk.now()))

    def done_answer(self, _: Any) -> None:
        """Written down."""
        self.drop_draft()
        self.dismiss(None)
