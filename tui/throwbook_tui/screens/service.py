"""A service entry: what was seen, found, fixed and verified, each with its day; written, and viewed."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.quantities.text import counted
from throwbook.core.quantities.units import parse
from throwbook.core.records import Service
from throwbook.core.status.maintenance import ACTIONS, MOMENTS, Moment, ServiceEntry, entry_from
from throwbook.core.status.raising import repair_lacks
from throwbook.core.wording import HANDS, NOT_RECORDED, QUALIFIED, SHOWN_AT
from throwbook_tui.fields import CHOICE, COUNT, DATE, FieldSpec
from throwbook_tui.present import QUIET, STRONG, WARN, Cell, day
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import TextPage, key
from throwbook_tui.widgets.frame import lines

if TYPE_CHECKING:
    from throwbook.jobs.maintenance import Logged
    from throwbook.jobs.steps_to_clear import StepsToClear


ELSEWHERE = "To log other work: Esc, then V on the rig's screen."
HINTS = {
    "seen": "what was seen",
    "found": "what the cause was",
    "fixed": "what was done about it",
    "verified": "how the repair was checked",
}


def specs() -> tuple[FieldSpec, ...]:
    """The whole form."""
    rows = [
        FieldSpec("action", "what was done", CHOICE, must=True, choices=tuple((one, one) for one in ACTIONS)),
        FieldSpec("on", "day of the work", DATE, must=True, replaced=True),
    ]
    for name in MOMENTS:
        rows.append(FieldSpec(name, name, hint=HINTS[name]))
        rows.append(FieldSpec(f"{name}_on", f"  {name} on", DATE, hint="day, if it is known"))
    return (
        *rows,
        FieldSpec("parts", "parts used", section="More"),
        FieldSpec("machine_hours", "hour meter", "time", unit="h", hint="for example 1210 h"),
        FieldSpec("cost", "cost", hint="with its currency"),
        FieldSpec("due_on", "next check on", DATE, hint="day", section="Next check (optional)"),
        FieldSpec("due_hours", "or at hour meter", "time", unit="h", hint="for example 1500 h"),
        FieldSpec("due_cycles", "or after lock throws", COUNT, hint="for example 400"),
    )


REASON = FieldSpec(
    "reason", "reason for the correction", must=True, hint="wrong day, ...", section="Correction"
)


class ServiceScreen(FormPage[None]):
    """Logged for good; a mistake is put right by another entry."""

    HELP = "service"

    def __init__(
        self, rig: str, repair: "StepsToClear | None" = None, corrects: ServiceEntry | None = None
    ) -> None:
        super().__init__()
        self._rig, self._repair, self._corrects = rig, repair, corrects

    def draft_name(self) -> str:
        """One for each rig, one for each entry that is corrected."""
        return f"service-{self._corrects.id if self._corrects else self._rig}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """As a table above; a correction takes its reason."""
        return (*specs(), REASON) if self._corrects else specs()

    def first_values(self) -> dict[str, str]:
        """Today, unless it is said otherwise; what is corrected stands as it was written."""
        if self._corrects is not None:
            return form_of(self._corrects)
        return {"on": self.desk.today.isoformat(), "action": "repaired" if self._repair else ""}

    def body(self) -> Iterator[Widget]:
        """The caution above the form."""
        yield Static(id="cautions", classes="says")
        yield self.make_form()

    def opened(self) -> None:
        """Head line; on the way back, what the entry must hold."""
        self.head(f"{self._rig} | service")
        self.repaint()
        from throwbook.jobs.find import units_of

        logbook, rig = self.desk.logbook, self._rig
        self.work("units", lambda: units_of(logbook, rig))
        self.changed()
        if self._repair:
            self.tell(f"To clear the order, both 'found' and 'fixed' must be filled in. {QUALIFIED}", WARN)
        elif not self.draft:
            self.tell(" ".join(text for text in SHOWN_AT["service"] if text != HANDS), WARN)

    def done_units(self, units: str) -> None:
        """Days are read in the rig's way."""
        self.form.shown_in(units)

    def repaint(self) -> None:
        """The caution in the colours there are."""
        super().repaint()
        self.query_one("#cautions", Static).update(lines(self.app, [Cell(HANDS, WARN)]))

    def changed(self) -> None:
        """Days that can't be: work or a moment yet to come, a next check that is past."""
        days = {one.spec.key: good_day(one.value) for one in self.form.fields if one.spec.kind == DATE}
        on, due_on = days["on"], days["due_on"]
        for name in ("on", *(f"{moment}_on" for moment in MOMENTS)):
            ahead = (days[name] or self.desk.today) > self.desk.today
            self.form.field(name).complain("this date is in the future" if ahead else "")
        early = on is not None and due_on is not None and due_on <= on
        self.form.field("due_on").complain(f"must be later than the work on {on}" if early else "")
        values = self.form.values()
        lacking = self._lacks()
        for name in ("found", "fixed"):
            self.form.field(name).complain(lacking.get(name, "") if values[name].strip() else "")
        if "on" in lacking:
            self.form.field("on").complain(lacking["on"])

    def _lacks(self) -> dict[str, str]:
        """Why it isn't the repair that is asked for: its field, and a sentence; empty: it is."""
        if self._repair is None:
            return {}
        values, today = self.form.values(), self.desk.today
        since = min(self._repair.happened_on or today, today)
        days = [day for name in ("on", "fixed_on") if (day := good_day(values[name])) is not None]
        early = (
            {"on": f"the order is of {since}; earlier work cannot clear it"}
            if min(days, default=since) < since
            else {}
        )
        return early | repair_lacks(values["action"], values["found"], values["fixed"], self._repair.causes)

    def enter(self) -> None:
        """Log it."""
        values = self.form.values()
        for name in MOMENTS:
            if values[f"{name}_on"].strip() and not values[name].strip():
                self.form.field(name).focus_answer()
                self.tell(f"There is a day for '{name}' but not what was {name}.", WARN)
                return
        lacking = self._lacks()
        if lacking:
            self.form.field(next(iter(lacking))).focus_answer()
            empty = any(not values[name].strip() for name in ("found", "fixed"))
            said = (
                "To clear the order, fill in both 'found' and 'fixed'."
                if empty
                else f"This completes no step: {next(iter(lacking.values()))}. {ELSEWHERE}"
            )
            self.tell(said, WARN)
            return
        from throwbook.jobs.maintenance import add

        desk, entry = self.desk, entry_from_form(self._rig, values, self.desk.by)
        if self._corrects is not None:  # what the form doesn't ask stays
            entry = replace(entry, new_stretch=self._corrects.new_stretch)
        corrects, reason = self._corrects.id if self._corrects else "", values.get("reason", "").strip()
        self.work_once("add", lambda: add(desk.logbook, entry, desk.now(), corrects, reason))

    def done_add(self, logged: "Logged") -> None:
        """It is in the log; a new stretch asks for a new check."""
        self.drop_draft()
        said = f"{'Corrected' if self._corrects else 'Logged'}: {logged.entry.action} on {logged.entry.on}."
        if logged.entry.starts_stage and not self._repair and not self._corrects:
            said += " The trend chart restarts here. Press S (or H by hand), then 4: an after-service sheet shows whether the work helped."
        from throwbook.jobs.maintenance import NO_STEP

        if not self._repair:  # there the step that is done says it
            self.app.notify(
                " ".join([said, *([NO_STEP.format(why="; ".join(logged.lacks))] * bool(logged.lacks))]),
                timeout=8,
            )
        self.dismiss(None)


def entry_from_form(rig: str, values: dict[str, str], by: str) -> ServiceEntry:
    """Typed values, all of them checked, as an entry."""
    moments = {name: Moment(values[name].strip(), _day(values[f"{name}_on"])) for name in MOMENTS}
    return ServiceEntry(
        id="",
        rig=rig,
        action=values["action"],
        on=date.fromisoformat(values["on"].strip()),
        parts=values["parts"].strip(),
        machine_hours_h=_hours(values["machine_hours"]),
        cost=values["cost"].strip(),
        due_on=_day(values["due_on"]),
        due_hours_h=_hours(values["due_hours"]),
        due_cycles=int(values["due_cycles"]) if values["due_cycles"].strip() else None,
        by=by,
        seen=moments["seen"],
        found=moments["found"],
        fixed=moments["fixed"],
        verified=moments["verified"],
    )


def form_of(entry: ServiceEntry) -> dict[str, str]:
    """An entry as it would be typed."""
    hours = {"machine_hours": entry.machine_hours_h, "due_hours": entry.due_hours_h}
    values = {
        "action": entry.action,
        "on": entry.on.isoformat(),
        "parts": entry.parts,
        "cost": entry.cost,
        "due_on": entry.due_on.isoformat() if entry.due_on else "",
        "due_cycles": str(entry.due_cycles or ""),
    }
    values |= {name: "" if value is None else f"{value:g} h" for name, value in hours.items()}
    for name in MOMENTS:
        one = getattr(entry, name)
        values |= {name: one.what, f"{name}_on": one.on.isoformat() if one.on else ""}
    return values


def good_day(text: str) -> date | None:
    """The day that is typed, once it can be read."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None


def _day(text: str) -> date | None:
    return date.fromisoformat(text.strip()) if text.strip() else None


def _hours(text: str) -> float | None:
    return parse(text, "time") / 3600.0 if text.strip() else None


class ServiceViewScreen(TextPage):
    """Shows it, and leads to its correction."""

    HELP = "service"
    BINDINGS: ClassVar[list[BindingType]] = [key("c", "correct", "correct it")]

    def __init__(self, row: Service) -> None:
        super().__init__()
        self._entry = entry_from(row)

    def where(self) -> str:
        """What was done, and when."""
        return f"{self._entry.rig} | {self._entry.action} on {day(self._entry.on)}"

    def text(self) -> list[Cell | str]:
        """Four moments, then the rest."""
        entry = self._entry
        cells: list[Cell | str] = []
        for name in MOMENTS:
            one = getattr(entry, name)
            told = (f"{one.what} ({day(one.on)})" if one.on else one.what) if one else NOT_RECORDED
            cells.append(Cell(f"{name:<9} {told}", STRONG if one else QUIET))
        rest = (
            ("parts", entry.parts),
            ("hour meter", f"{entry.machine_hours_h:g} h" if entry.machine_hours_h is not None else ""),
            ("cost", entry.cost),
            ("next check", day(entry.due_on) if entry.due_on else ""),
            ("trend chart", "restarts here" if entry.starts_stage else "not restarted"),
            ("entered by", entry.by),
        )
        cells += [Cell(""), *(Cell(f"{name:<11} {told}") for name, told in rest if told)]
        if entry.answers:
            cells.append(
                Cell(
                    f"It belongs to {counted(len(entry.answers), 'order')}. Only a signed clearance clears an order."
                )
            )
        return cells

    def action_correct(self) -> None:
        """Another entry that stands for this one from now on."""
        self.open_screen("service", self._entry.rig, corrects=self._entry, then=self._corrected)

    def _corrected(self, _: Any) -> None:
        """Back to the rig: its list shows the one that counts."""
        self.dismiss(None)
