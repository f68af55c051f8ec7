"""Calibrate a board against a meter, step by step."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from textual.widget import Widget
from textual.widgets import Static

from tui.fields import FieldSpec
from tui.present import GOOD, QUIET, STRONG, WARN, Cell
from tui.screens.form_page import FormPage
from tui.screens.page import key
from tui.widgets.frame import lines

if TYPE_CHECKING:
    from logger.core.stroke.calibration import CalibrationPoint, CalibrationRecord
    from logger.jobs.calibrate import Shown

LEAST = 2


class CalibrateScreen(FormPage[None]):
    """Enter in the last field reads the board in that moment; Ctrl-S keeps the calibration."""

    HELP = "calibrate"
    BINDINGS = [key("ctrl+s,f2", "store", "keep calibration", "Ctrl-S")]  # noqa: RUF012

    def __init__(self, port: str, baud: int, board: str) -> None:
        super().__init__()
        self._port, self._baud, self._board = port, baud, board
        self._points: list[tuple[str, CalibrationPoint]] = []

    def draft_name(self) -> str:
        """One for each board."""
        return f"calibrate-{self._board}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """The meter, then its reading."""
        from tui.screens.enter import _accuracy_complaint

        return (
            FieldSpec("instrument", "reference meter", must=True, hint="make-up and number: clamp meter 12"),
            FieldSpec("accuracy", "its accuracy", must=True, hint="1% + 3 digits", judge=_accuracy_complaint),
            FieldSpec("meter", "meter shows now", "current", must=True, hint="2.03 A; Enter reads the board"),
        )

    def body(self) -> Iterator[Widget]:
        """Form, then the points so far."""
        yield self.make_form()
        yield Static(id="points", classes="says")

    def on_mount(self) -> None:
        """First step."""
        self.head(f"board {self._board} | calibrate")
        super().on_mount()
        self.repaint()

    def repaint(self) -> None:
        """Step and points."""
        super().repaint()
        count = len(self._points)
        step = (
            "Step 1: the actuator off, no current; type what the meter shows."
            if not count
            else f"Step {count + 1}: another steady current, up to the rated one."
        )
        cells: list[Cell | str] = [Cell(step, STRONG)]
        cells += [
            Cell(f"[x] meter {text}, board {point.shown_a:.4f} A", GOOD) for text, point in self._points
        ]
        if count >= LEAST:
            cells.append(Cell("Enough points: Ctrl-S keeps it; one more makes it better.", WARN))
        else:
            cells.append(Cell(f"At least {LEAST} points are needed.", QUIET))
        self.query_one("#points", Static).update(lines(self.app, cells))

    def enter(self) -> None:
        """Read the board now."""
        from logger.jobs.calibrate import read_board

        self.tell("Reading the board for two seconds: keep the current steady ...", WARN)
        port, baud = self._port, self._baud
        text, accuracy = self.form.field("meter").value, self.form.field("accuracy").value
        self.work("read", lambda: (text, accuracy, read_board(port, baud=baud)))

    def done_read(self, result: "tuple[str, str, Shown]") -> None:
        """One point more."""
        from logger.jobs.calibrate import point

        text, accuracy, shown = result
        self._points.append((text, point(text, accuracy, shown)))
        self.form.field("meter").set("")
        self.form.field("meter").focus_answer()
        self.tell("")
        self.repaint()

    def action_store(self) -> None:
        """Keep it; throws of this board are judged anew beside their old judgement."""
        if len(self._points) < LEAST:
            self.tell(
                f"{len(self._points)} of {LEAST} points: press Enter in the last field to read the board.",
                WARN,
            )
            return
        from logger.jobs.calibrate import calibrated, store

        desk, board, instrument = self.desk, self._board, self.form.field("instrument").value
        points = [point for _, point in self._points]
        self.work(
            "store",
            lambda: store(
                calibrated(board, points, instrument, desk.today), desk.logbook, desk.by, desk.now()
            ),
        )

    def done_store(self, result: "tuple[CalibrationRecord, Any]") -> None:
        """Kept."""
        self.drop_draft()
        kept, _ = result
        self.app.notify(
            f"Kept: gain {kept.line.gain:.4f}, zero {kept.line.zero_a:+.4f} A, due again on {kept.due_on}.",
            timeout=8,
        )
        self.dismiss(None)
