"""Which rigs of the list are looked for: by text, status, place, what is due, what was long unseen."""

from typing import ClassVar

from textual.binding import BindingType

from throwbook.core.status.latch import LEVELS
from throwbook.core.wording import NOT_COMMISSIONED
from throwbook.jobs.rig_list import Wanted
from throwbook_tui.fields import CHOICE, COUNT, FieldSpec
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import key

STATUSES = (NOT_COMMISSIONED.column, *LEVELS)


class FindRigsScreen(FormPage[Wanted]):
    """Gives what is looked for; every field may stay empty."""

    HELP = "rigs"
    BINDINGS: ClassVar[list[BindingType]] = [key("ctrl+s,f2", "enter", "show them", "Ctrl-S")]

    def __init__(self, wanted: Wanted) -> None:
        super().__init__()
        self._wanted = wanted

    def draft_name(self) -> str:
        """One at a time."""
        return "find-rigs"

    def specs(self) -> tuple[FieldSpec, ...]:
        """As ``rig list`` has them."""
        return (
            FieldSpec("part", "text", hint="in the name, the machine, its place or owner"),
            FieldSpec("level", "status", CHOICE, choices=tuple((one, one) for one in STATUSES)),
            FieldSpec("place", "place", hint="as in the rig file"),
            FieldSpec("due", "due within days", COUNT, hint="7: overdue or due this week"),
            FieldSpec("unseen", "no throw for days", COUNT, hint="180: not seen for half a year"),
        )

    def first_values(self) -> dict[str, str]:
        """What was looked for last."""
        wanted = self._wanted
        days = {"due": wanted.due_within_days, "unseen": wanted.unseen_days}
        said = {name: "" if count is None else str(count) for name, count in days.items()}
        return {"part": wanted.part, "level": next(iter(wanted.levels), ""), "place": wanted.place, **said}

    def opened(self) -> None:
        """Head line."""
        self.head("rigs | only some")

    def enter(self) -> None:
        """Show those that fit."""
        typed = {name: text.strip() for name, text in self.form.values().items()}
        self.drop_draft()
        self.dismiss(
            Wanted(
                typed["part"],
                (typed["level"],) if typed["level"] else (),
                int(typed["due"]) if typed["due"] else None,
                int(typed["unseen"]) if typed["unseen"] else None,
                place=typed["place"],
            )
        )
