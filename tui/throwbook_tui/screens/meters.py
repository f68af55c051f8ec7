"""Meters: stopwatch, clamp meter, multimeter, kept once with what their data sheets say; a sheet names those it is read from."""

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.listing import METERS
from throwbook.core.records import CLAMP, MULTIMETER, STOPWATCH
from throwbook.errors import InputError, ThrowbookError
from throwbook_tui.fields import CHOICE, DATE, YES_NO, FieldSpec, accuracy_complaint
from throwbook_tui.present import BAD, STRONG, Cell, spoken
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import RowTable, lines

if TYPE_CHECKING:
    from throwbook.core.records import Meter

NONE = (
    Cell("No meter is recorded yet.", STRONG),
    "Press N and enter what is printed on the meter and in its data sheet. A sheet that names its meters uses their accuracy in place of an assumed one.",
)


class MetersScreen(Page[None]):
    """The list of them."""

    HELP = "meters"
    BINDINGS: ClassVar[list[BindingType]] = [key("n", "new_meter", "new meter")]

    def body(self) -> Iterator[Widget]:
        """What to do first, and the table."""
        yield Static(id="first", classes="says")
        yield RowTable(METERS.heads, id="meters")

    def on_mount(self) -> None:
        """Load."""
        self.head("meters")
        self.reload()

    def on_screen_resume(self) -> None:
        """One may have been added."""
        super().on_screen_resume()
        self.reload()

    def reload(self) -> None:
        """Read them again."""
        from throwbook.jobs.meters import meters

        logbook = self.desk.logbook
        self.work("meters", lambda: meters(logbook))

    def done_meters(self, found: "tuple[Meter, ...]") -> None:
        """Show them."""
        self.query_one("#first", Static).update(lines(self.app, [] if found else NONE))
        self.query_one(RowTable).fill([(one.id, METERS.row(one)) for one in found])
        self.query_one(RowTable).focus()

    def action_new_meter(self) -> None:
        """Write one down, or what is new about one."""
        self.open_screen("meter")


class MeterScreen(FormPage[None]):
    """One meter."""

    HELP = "meters"

    def draft_name(self) -> str:
        """One at a time."""
        return "meter"

    def specs(self) -> tuple[FieldSpec, ...]:
        """As on its label and in its data sheet."""
        kinds = ((CLAMP, "clamp meter"), (MULTIMETER, "multimeter"), (STOPWATCH, "stopwatch"))
        return (
            FieldSpec("name", "its name", must=True, hint="as on its label: clamp 1"),
            FieldSpec("kind", "kind", CHOICE, must=True, choices=kinds),
            FieldSpec(
                "resolution", "last digit", must=True, hint="0.1 A, 0.01 V, 0.1 s", judge=self._last_digit
            ),
            FieldSpec(
                "accuracy", "accuracy", hint="2.5% + 5 digits, from its data sheet", judge=accuracy_complaint
            ),
            FieldSpec("peak_hold", "peak hold", CHOICE, choices=YES_NO),
            FieldSpec("checked", "last checked", DATE, hint="day, if it is known", judge=self.still_to_come),
        )

    def _last_digit(self, text: str) -> str:
        """What is wrong with it, once the kind is known."""
        from throwbook.jobs.meters import last_digit

        kind = self.form.field("kind").value
        try:
            if kind:
                last_digit(kind, text)
        except InputError as error:
            return f"{error.what}. {error.do}"
        return ""

    def first_values(self) -> dict[str, str]:
        """A cheap one has no hold."""
        return {"peak_hold": "no"}

    def opened(self) -> None:
        """Head line."""
        self.head("meters | new meter")

    def enter(self) -> None:
        """Write it down."""
        from throwbook.jobs.meters import add_meter, meter_from

        desk, typed = self.desk, {name: text.strip() for name, text in self.form.values().items()}

        def add() -> Any:
            made = meter_from(
                typed["name"],
                typed["kind"],
                typed["resolution"],
                typed["accuracy"],
                typed["peak_hold"] == "yes",
                date.fromisoformat(typed["checked"]) if typed["checked"] else None,
                desk.by,
                desk.now(),
            )
            return add_meter(desk.logbook, made, desk.by, desk.now())

        self.work_once("add", add)

    def failed_add(self, error: ThrowbookError) -> None:
        """The cursor goes where it is wrong."""
        place = str(error.where).replace("-", "_")
        if place in self.form.values():
            self.form.field(place).focus_answer()
        self.tell(spoken(error), BAD)

    def done_add(self, _: Any) -> None:
        """Kept."""
        self.drop_draft()
        self.dismiss(None)
