"""Plan a sheet: what it is for, and what every sheet asks. Cautions come first."""

from typing import TYPE_CHECKING, Any

from logger.core.records.records import COMMISSIONING, SHEET_KINDS
from logger.core.records.writer import person
from logger.core.sheets.sheet import KINDS
from tui.fields import CHOICE, COUNT, FieldSpec
from tui.screens.form_page import FormPage
from tui.sheet_questions import answers_from, question_specs

if TYPE_CHECKING:
    from logger.jobs.way_back import WayBack

WORDS = {
    "bench": "bench",
    "commissioning": "commissioning",
    "seasonal": "seasonal",
    "after-service": "after service",
    "spot": "spot",
}

TOO_EARLY = (
    "The rig is out of use and no repair is logged yet: a commissioning sheet planned now doesn't bring it back. Esc, then W "
    "on the rig: first the cause and the repair."
)


class SheetPlanScreen(FormPage[str]):
    """Gives the name of the new sheet."""

    HELP = "sheet plan"

    def __init__(self, rig: str, kind: str = "") -> None:
        super().__init__()
        self._rig, self._kind = rig, kind
        self._too_early = False

    def draft_name(self) -> str:
        """One for each rig."""
        return f"sheet-plan-{self._rig}"

    def first_values(self) -> dict[str, str]:
        """The kind, and a name that somebody gave: the computer's account is none."""
        return {"kind": self._kind, "operator": person(self.desk.by)}

    def specs(self) -> tuple[FieldSpec, ...]:
        """What for, how many, then the questions."""
        kinds = tuple((kind, WORDS[kind]) for kind in SHEET_KINDS)
        return (
            FieldSpec("kind", "what is it for", CHOICE, must=True, choices=kinds),
            FieldSpec("throws", "throws each way", COUNT, hint="empty: the usual number"),
            *question_specs(),
        )

    def opened(self) -> None:
        """Head line; the kind that was asked for stands, whatever the draft says."""
        self.head(f"{self._rig} | plan a sheet")
        if self._kind:
            self.form.field("kind").set(self._kind)
        self.changed()
        from logger.jobs.way_back import way_back

        logbook, rig = self.desk.logbook, self._rig
        self.work("way", lambda: way_back(logbook, rig))

    def done_way(self, found: "WayBack") -> None:
        """Whether a commissioning sheet would come too early."""
        self._too_early = found.repair_first
        self.changed()

    def changed(self) -> None:
        """Say how many throws it comes to; warn of a sheet that would prove nothing."""
        kind, throws = self.form.field("kind").value, self.form.field("throws").value.strip()
        if kind == COMMISSIONING and self._too_early:
            self.tell(TOO_EARLY, "warn")
        elif kind and not throws:
            usual, fewest = KINDS[kind]
            self.tell(
                f"A {WORDS[kind]} sheet: {usual} throws each way unless you say otherwise, never under {fewest}."
            )

    def enter(self) -> None:
        """Plan it."""
        from logger.jobs.sheets import plan

        values = self.form.values()
        if not values["kind"]:
            self.tell("Say what the sheet is for: a digit chooses.", "warn")
            self.form.field("kind").focus_answer()
            return
        throws = int(values["throws"]) if values["throws"].strip() else None
        desk, rig = self.desk, self._rig
        by = values["operator"].strip() or desk.by
        self.work(
            "plan",
            lambda: plan(desk.logbook, rig, values["kind"], by, desk.now(), throws, answers_from(values)),
        )

    def done_plan(self, made: Any) -> None:
        """The sheet is there."""
        self.drop_draft()
        self.dismiss(made[0].name)
