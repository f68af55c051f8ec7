"""Plan a sheet: what it is for, and what every sheet asks. Cautions come first."""

from typing import TYPE_CHECKING, Any

from textual.app import App

from logger.core.records.records import COMMISSIONING, SHEET_KINDS
from logger.core.sheets.questions import QUESTIONS
from logger.core.sheets.sheet import KINDS
from tui.fields import CHOICE, COUNT, TEXT, YES_NO, FieldSpec
from tui.screens.form_page import FormPage

if TYPE_CHECKING:
    from logger.jobs.way_back import WayBack

# question: (words in front of the field, kind of field, hint)
ASKED: dict[str, tuple[str, str, str]] = {
    "hours_since_movement": ("hours since it last moved", "time", "16 h, 3 days, ..."),
    "worked_before": ("greased or worked before", TEXT, "no, or what was done"),
    "ambient_c": ("air temperature", "temperature", "4 degC"),
    "supply": ("what feeds it", TEXT, "machine battery, ..."),
    "engine_running": ("engine running", CHOICE, ""),
    "attachment": ("which attachment", TEXT, "bucket, forks, none, ..."),
    "operator": ("who does it", TEXT, ""),
    "instruments": ("instruments", TEXT, "make-up and number"),
}
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


def start_sheet(app: App[Any], rig: str, kind: str = "", by_hand: bool = False) -> None:
    """Cautions, then the plan, then the sheet itself."""
    from tui.screens.cautions import CautionsScreen

    def planned(name: str | None) -> None:
        if name:
            from tui.screens.sheet import SheetScreen

            app.push_screen(SheetScreen(name, by_hand=by_hand))

    def read(all_of_it: bool | None) -> None:
        if all_of_it:
            app.push_screen(SheetPlanScreen(rig, kind), planned)

    app.push_screen(CautionsScreen(rig, kind or "commissioning"), read)


def answers_from(values: dict[str, str]) -> dict[str, Any]:
    """Typed answers as ``core.sheets.questions`` names them; what is empty stays out: not recorded."""
    from logger.core.quantities.units import parse

    told: dict[str, Any] = {}
    for key, (_, kind, _) in ASKED.items():
        text = values.get(key, "").strip()
        if not text:
            continue
        if key == "hours_since_movement":
            told[key] = parse(text, "time") / 3600.0
        elif kind == "temperature":
            told[key] = parse(text, "temperature")
        elif kind == CHOICE:
            told[key] = text == "yes"
        else:
            told[key] = text
    return told


def question_specs(
    section: str = "Asked on every sheet; empty is kept as not recorded",
) -> tuple[FieldSpec, ...]:
    """One field for each question."""
    return tuple(
        FieldSpec(
            one.key,
            ASKED[one.key][0],
            ASKED[one.key][1],
            hint=ASKED[one.key][2],
            choices=YES_NO if ASKED[one.key][1] == CHOICE else (),
            section=section if number == 0 else "",
            unit="h" if one.key == "hours_since_movement" else "",
        )
        for number, one in enumerate(QUESTIONS)
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
        """Who sits here is known."""
        return {"kind": self._kind, "operator": self.desk.by}

    def specs(self) -> tuple[FieldSpec, ...]:
        """What for, how many, then the questions."""
        kinds = tuple((kind, WORDS[kind]) for kind in SHEET_KINDS)
        return (
            FieldSpec("kind", "what is it for", CHOICE, must=True, choices=kinds),
            FieldSpec("throws", "throws each way", COUNT, hint="empty: the usual number"),
            *question_specs(),
        )

    def on_mount(self) -> None:
        """Head line; the kind that was asked for stands, whatever the draft says."""
        self.head(f"{self._rig} | plan a sheet")
        super().on_mount()
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
        desk.by = by
        self.work(
            "plan",
            lambda: plan(desk.logbook, rig, values["kind"], by, desk.now(), throws, answers_from(values)),
        )

    def done_plan(self, made: Any) -> None:
        """The sheet is there."""
        self.drop_draft()
        self.dismiss(made[0].name)
