"""Set up a rig from its data sheet; whether the actuator suits the mechanism stands beside the form."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.containers import Container, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.assessment import FAIL
from throwbook.core.rig import METRIC, US
from throwbook.core.sizing.sizing import CAUTION_AT
from throwbook.core.wording import RIG, without_keys
from throwbook_tui.fields import CHOICE, TEXT, YES_NO, FieldSpec
from throwbook_tui.present import (
    GOOD,
    QUIET,
    STRONG,
    WARN,
    Cell,
    sentence,
    verdict_cell,
)
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import key
from throwbook_tui.widgets.frame import lines

if TYPE_CHECKING:
    from throwbook.jobs.rig_setup import SetupCheck
    from throwbook.jobs.rigs import Added


def fit_cells(check: "SetupCheck", faulty: Any) -> list[Cell | str]:
    """Short while values are missing; the whole judgement once they are there."""
    if check.fit is None:
        where = f"{faulty.spec.asked}: {faulty.checked.say}" if faulty is not None else check.lacking
        return [
            Cell("Does the actuator suit the mechanism?", STRONG),
            Cell("The assessment appears when all required fields are filled in."),
            Cell(f"Next: {where}", WARN),
        ]
    found = check.fit
    word, tone = verdict_cell(found.verdict)
    cells: list[Cell | str] = [Cell(f"Does the actuator suit the mechanism? {word}", tone)]
    for problem in found.problems:
        cells.append(
            Cell(f"{'WRONG' if problem.grave else 'odd'}: {problem.key} {problem.what}. {problem.do}", WARN)
        )
    worst_first = sorted(
        found.findings, key=lambda one: {"fail": 0, "undecided": 1, "watch": 2}.get(one.verdict, 3)
    )
    for finding in worst_first:
        word, tone = verdict_cell(finding.verdict)
        cells.append(Cell(f"{word}: {finding.about}", tone if finding.verdict != "pass" else GOOD))
        cells.append(Cell(f"  {sentence(finding.says)}"))
        if finding.do:
            cells.append(Cell(f"  -> {finding.do}"))
        if finding.about in CAUTION_AT:
            cells.append(Cell(f"  {CAUTION_AT[finding.about]}", WARN))
    for field_key, leaves in found.missing:
        cells.append(Cell(f"{field_key} not given. Cannot be assessed: {leaves}", QUIET))
    cells += [Cell(f"Not on any data sheet: {text}", QUIET) for text in found.unknown]
    return cells


def in_form_words(cells: list[Cell | str]) -> list[Cell | str]:
    """What was said of a rig file in the words of the form."""
    pairs = (cell if isinstance(cell, Cell) else Cell(cell) for cell in cells)
    return [Cell(without_keys(text), tone) for text, tone in pairs]


def against_fit(check: "SetupCheck | None") -> str:
    """What of the judgement failed, in one line; empty: nothing."""
    if check is None or check.fit is None:
        return ""
    return ", ".join(one.about for one in check.fit.findings if one.verdict == FAIL)


NEEDED = "Needed: from the data sheet, and one measurement on the machine"
ACTUATOR, LOCK, CABLE, BOARD, MACHINE = (
    "Optional: each value lets more be assessed. Data sheet:",
    "Measured on the machine:",
    "Cable and fuse:",
    "Board:",
    "Printed on every report:",
)


def _asked(name: str, kind: str = TEXT, hint: str = "", hint_us: str = "", **more: Any) -> FieldSpec:
    return FieldSpec(name, RIG[name].column, kind, hint=hint, hint_us=hint_us, **more)


SPECS: tuple[FieldSpec, ...] = (
    FieldSpec("name", "rig name", must=True, hint="for example yard-loader"),
    FieldSpec("units", "units", CHOICE, choices=((METRIC, "mm, N, degC"), (US, "in, lbf, degF"))),
    _asked(
        "lock.needed_travel", "length", "188 mm, measured", "7 3/4 in, measured", must=True, section=NEEDED
    ),
    _asked("actuator.voltage", "voltage", "12 V", must=True),
    _asked("actuator.stroke", "length", "200 mm", "8 in", must=True),
    _asked("actuator.rated_force", "force", "1500 N", "225 lbf", must=True),
    _asked("actuator.no_load_speed", "speed", "16 mm/s", "0.55 in/s", must=True),
    _asked("actuator.no_load_current", "current", "0.9 A", must=True),
    _asked("actuator.full_load_current", "current", "3.6 A, at rated force", must=True),
    _asked("actuator.extend_locks", CHOICE, choices=YES_NO),
    _asked(
        "actuator.full_load_speed",
        "speed",
        "11 mm/s; blank: assumed",
        "0.4 in/s; blank: assumed",
        section=ACTUATOR,
    ),
    _asked("actuator.duty_cycle", "share", "25 %; blank: not given"),
    _asked("actuator.protection", TEXT, "IP66"),
    _asked("lock.needed_force", "force", "by spring scale, clean, warm", section=LOCK),
    _asked("lock.excess_goes", TEXT, "slotted link, spring ..."),
    _asked("lock.bears_force", "force", "blank: not checked"),
    _asked("lock.lowest_voltage", "voltage", "11 V, under load"),
    _asked("lock.coldest", "temperature", "-10 degC", "15 degF"),
    _asked("wiring.conductor", TEXT, "2.5 mm2", "14 AWG", section=CABLE),
    _asked("wiring.length_one_way", "cable length", "6 m", "20 ft"),
    _asked("wiring.fuse", "current", "10 A"),
    _asked("board.id", TEXT, "shown on the board screen", section=BOARD),
    _asked("machine.description", TEXT, "wheel loader, 5 t", section=MACHINE),
    _asked("machine.serial_number", TEXT),
    _asked("machine.owner", TEXT),
    _asked("machine.place", TEXT, "where it stands"),
)

CHANGE = FieldSpec(
    "reason",
    "reason for the change",
    must=True,
    hint="new actuator, typing error, ...",
    section="This rig is in the logbook already",
)


BESIDE = 118
"""From this width on the judgement stands beside the form, which needs 80 columns for its hints."""


class RigSetupScreen(FormPage[str]):
    """Gives the name of the rig."""

    HELP = "rig setup"
    BINDINGS: ClassVar[list[BindingType]] = [key("f6", "whole", "whole panel, or form", "F6")]

    def __init__(self, rig: str = "") -> None:
        super().__init__()
        self._rig = rig
        self._check: SetupCheck | None = None

    def draft_name(self) -> str:
        """One for a new rig, one for each that is changed."""
        return f"rig-{self._rig or 'new'}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """A change needs its reason."""
        return (*SPECS, CHANGE) if self._rig else SPECS

    def first_values(self) -> dict[str, str]:
        """What the logbook has."""
        if self._rig:
            from throwbook.jobs.rig_setup import setup_of

            return setup_of(self.desk.logbook, self._rig)
        return {"units": METRIC, "actuator.extend_locks": "yes"}

    def system(self) -> str:
        """As chosen."""
        return (self.draft or self.first_values()).get("units", METRIC)

    def body(self) -> Iterator[Widget]:
        """Form at the left or above, fit at the right or below."""
        with Container(classes="beside"):
            form = self.make_form()
            form.add_class("left")
            yield form
            with VerticalScroll(classes="right", id="fit-place", can_focus=False):
                yield Static(id="fit", classes="says")

    def opened(self) -> None:
        """Judge what is there."""
        self.head(f"{self._rig or 'new rig'} | values from the data sheet")
        self._asked_last: Widget | None = None
        self.on_resize()  # the first frame is drawn before the first event of a size
        self.changed()

    def on_resize(self) -> None:
        """Side by side where there is room."""
        self.set_class(self.app.size.width < BESIDE, "narrow")

    def changed(self) -> None:
        """Check the whole in a worker; the newest answer counts."""
        from throwbook.jobs.rig_setup import check_setup

        values = self.form.values()
        self.form.shown_in(values["units"])
        self.work("check", lambda: (values, check_setup(values)))

    def done_check(self, result: "tuple[dict[str, str], SetupCheck]") -> None:
        """Complaints to their fields, the fit beside them; an answer to older typing is passed over."""
        values, check = result
        if values != self.form.values():
            return
        self._check = check
        by_key = {problem.key: problem for problem in check.problems}
        for field in self.form.fields:
            problem = by_key.get(field.spec.key)
            field.complain(f"{problem.what}. {problem.do}" if problem else "")
        self.repaint()

    def repaint(self) -> None:
        """The fit."""
        super().repaint()
        if self._check is not None:
            cells = in_form_words(fit_cells(self._check, self.form.faulty()))
            self.query_one("#fit", Static).update(lines(self.app, cells))

    def action_whole(self) -> None:
        """The judgement over the whole screen, to be read with the arrow keys; and back to where one typed."""
        place = self.query_one("#fit-place", VerticalScroll)
        whole = not self.has_class("whole")
        self.set_class(whole, "whole")
        place.can_focus = whole
        if whole:
            self._asked_last = self.focused
            place.focus()
        place.scroll_home(animate=False)
        if not whole and self._asked_last is not None:
            self._asked_last.focus()

    def enter(self) -> None:
        """Keep it."""
        from throwbook.jobs.rig_setup import add_setup

        desk, values = self.desk, self.form.values()
        reason = values.pop("reason", "")
        self.work_once("add", lambda: add_setup(desk.logbook, values, desk.by, desk.now(), reason))

    def done_add(self, added: "Added") -> None:
        """It is in the logbook; what speaks against the actuator isn't passed over."""
        self.drop_draft()
        against = against_fit(self._check)
        if against:
            self.app.notify(
                f"Saved, but this actuator does not suit the mechanism: {against}. Press E to see why.",
                timeout=8,
            )
        for other in added.out_of_use:
            self.app.notify(
                f"Rig {other} has exactly these values and is out of use: DO NOT USE. If this is the same machine, a new name does not clear it.",
                severity="error",
                timeout=20,
            )
        self.dismiss(added.revision.rig)

    def action_back(self) -> None:
        """What is typed stays as a draft."""
        self.dismiss(None)
