"""Calibrate a board against a meter, step by step; points already read are kept in the draft."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from math import isfinite
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.analysis.calibration import CalibrationPoint
from throwbook.core.quantities.text import counted
from throwbook.core.wording import FIRE
from throwbook.errors import ThrowbookError
from throwbook_tui.fields import FieldSpec, accuracy_complaint
from throwbook_tui.present import BAD, GOOD, QUIET, STRONG, WARN, Cell, spoken
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import key
from throwbook_tui.widgets.frame import lines

if TYPE_CHECKING:
    from throwbook.core.analysis.calibration import CalibrationRecord
    from throwbook.jobs.calibrate import Shown


KEY = "points"
"""Under which they stand in the draft, beside the fields of the form."""
FAR_APART = 0.3
"""Share of the meter's reading; a board with a wrong shunt may be so far off, but more often the current goes elsewhere."""


@dataclass(frozen=True)
class ReadPoint:
    """One steady current, read on the meter and on the board."""

    meter: str
    """As it was typed."""
    point: CalibrationPoint
    read_at: str
    """Day and minute by this computer's clock."""


def packed(points: Sequence[ReadPoint]) -> str:
    """As one text for the draft."""
    return json.dumps([asdict(one) for one in points]) if points else ""


def unpacked(text: str) -> list[ReadPoint]:
    """Back from the draft; what can't be read whole gives none."""
    try:
        return [_read(row) for row in json.loads(text)] if text else []
    except (ValueError, TypeError, KeyError):
        return []


def _read(row: dict[str, object]) -> ReadPoint:
    found = row["point"]
    if not isinstance(found, dict):
        raise TypeError("a point is a table of figures")
    point = CalibrationPoint(**{name: float(value) for name, value in found.items()})
    if not all(isfinite(value) for value in asdict(point).values()):
        raise ValueError("a point that is not a number")
    return ReadPoint(str(row["meter"]), point, str(row["read_at"]))


def point_cell(one: ReadPoint, now: str) -> Cell:
    """One line; a board that wandered more than the meter is worth, and a point of an earlier day, say so."""
    point = one.point
    said = f"meter {one.meter}, board {point.shown_a:.4f} A"
    earlier = f" (read {one.read_at})" if one.read_at[:10] != now[:10] else ""
    if point.u_shown_a > point.u_true_a > 0:
        return Cell(
            f"[?] {said} ± {2 * point.u_shown_a:.2g} A{earlier}: not steady. F4 takes it back; then read it again.",
            WARN,
        )
    apart_a = abs(point.shown_a - point.true_a)
    if apart_a > FAR_APART * abs(point.true_a) + 3.0 * (point.u_true_a + point.u_shown_a):
        return Cell(f"[?] {said}{earlier}: far apart. Does the same current flow through both?", WARN)
    return Cell(f"[x] {said}{earlier}", WARN if earlier else GOOD)


LEAST = 2


class CalibrateScreen(FormPage[None]):
    """Enter in the last field reads the board in that moment; Ctrl-S keeps the calibration.

    Each point goes into the draft as it is read: to leave, a crash or a pulled plug costs none of them.
    """

    HELP = "calibrate"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("ctrl+s,f2", "store", "keep calibration", "Ctrl-S"),
        key("f4", "take_back", "take last point back"),
    ]

    def __init__(self, port: str, baud: int, board: str) -> None:
        super().__init__()
        self._port, self._baud, self._board = port, baud, board
        self._points: list[ReadPoint] = []
        self._reading = False

    def draft_name(self) -> str:
        """One for each board."""
        return f"calibrate-{self._board}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """The meter, then its reading."""
        return (
            FieldSpec("instrument", "reference meter", must=True, hint="make, model, serial no."),
            FieldSpec("accuracy", "its accuracy", must=True, hint="1% + 3 digits", judge=accuracy_complaint),
            FieldSpec("meter", "meter shows now", "current", must=True, hint="2.03 A; Enter reads the board"),
        )

    def body(self) -> Iterator[Widget]:
        """The caution, form, then the points so far."""
        yield Static(id="cautions", classes="says")
        yield self.make_form()
        self._points = unpacked(self.draft.get(KEY, ""))
        yield Static(id="points", classes="says")

    def opened(self) -> None:
        """The step that is next; points read before are there again."""
        self.head(f"board {self._board} | calibrate")
        self.repaint()

    def draft_values(self) -> dict[str, str]:
        """The points beside what is typed."""
        return super().draft_values() | {KEY: packed(self._points)}

    def cleared(self) -> None:
        """The points go with the rest."""
        self._points = []
        self.repaint()

    def repaint(self) -> None:
        """Step and points."""
        super().repaint()
        count = len(self._points)
        step = (
            "Step 1: actuator off, no current. Type what the meter shows, then Enter. The board is read at that moment."
            if not count
            else f"Step {count + 1}: another steady current, up to the full-load current. Type the reading, then Enter."
        )
        cells: list[Cell | str] = [Cell(step, STRONG)]
        cells += [point_cell(one, self._minute()) for one in self._points]
        if count >= LEAST:
            cells.append(
                Cell("Enough points. Ctrl-S keeps the calibration; one more point makes it better.", WARN)
            )
        else:
            cells.append(Cell(f"At least {LEAST} points are needed.", QUIET))
        self.query_one("#points", Static).update(lines(self.app, cells))
        self.query_one("#cautions", Static).update(lines(self.app, [Cell(FIRE, WARN)]))

    def _minute(self) -> str:
        return f"{self.desk.now():%Y-%m-%d %H:%M}"

    def enter(self) -> None:
        """Read the board now."""
        from throwbook.jobs.calibrate import read_board

        if self._reading:
            self.tell("The board is still being read. Keep the current steady until it is done.", WARN)
            return
        self._reading = True
        self.tell("Reading the board for two seconds: keep the current steady ...", WARN)
        port, baud = self._port, self._baud
        text, accuracy = self.form.field("meter").value, self.form.field("accuracy").value
        self.work("read", lambda: (text, accuracy, read_board(port, baud=baud)))

    def done_read(self, result: "tuple[str, str, Shown]") -> None:
        """One point more."""
        from throwbook.jobs.calibrate import point

        self._reading = False
        text, accuracy, shown = result
        self._points.append(ReadPoint(text, point(text, accuracy, shown), self._minute()))
        self.keep_draft()
        self.form.field("meter").set("")
        self.form.field("meter").focus_answer()
        self.tell("")
        self.repaint()

    def failed_read(self, error: ThrowbookError) -> None:
        """The board didn't answer: the reading stays typed."""
        self._reading = False
        self.tell(spoken(error), BAD)

    def action_take_back(self) -> None:
        """The last point was wrong."""
        if self._points:
            taken = self._points.pop()
            self.keep_draft()
            self.tell(f"Taken back: meter {taken.meter}. Read it again.")
            self.repaint()

    def action_store(self) -> None:
        """Show the line, ask, then keep it."""
        from throwbook.jobs.calibrate import calibrated

        if len(self._points) < LEAST:
            self.tell(
                f"{len(self._points)} of {LEAST} points: press Enter in the last field to read the board.",
                WARN,
            )
            return
        try:
            points = [one.point for one in self._points]
            record = calibrated(self._board, points, self.form.field("instrument").value, self.desk.today)
        except ThrowbookError as error:
            self.tell(spoken(error), WARN)
            return
        line = f"gain {record.line.gain:.4f}, zero {record.line.zero_a:+.4f} A"
        meaning = "From now on it is used for this board. Its throws so far are judged again; the old judgement is kept beside the new one."
        self.confirm(f"Keep this calibration? {line}", meaning, lambda: self._store(record))

    def _store(self, record: "CalibrationRecord") -> None:
        from throwbook.jobs.calibrate import store

        desk = self.desk
        self.work_once("store", lambda: store(record, desk.logbook, desk.by, desk.now()))

    def done_store(self, result: "tuple[CalibrationRecord, Any]") -> None:
        """Kept."""
        self.drop_draft()
        kept, count = result
        anew = f" {counted(count, 'throw')} judged again." if count else ""
        self.app.notify(
            f"Kept: gain {kept.line.gain:.4f}, zero {kept.line.zero_a:+.4f} A, due again on {kept.due_on}.{anew}",
            timeout=8,
        )
        self.dismiss(None)
