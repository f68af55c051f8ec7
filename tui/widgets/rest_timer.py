"""The rest that the duty cycle asks for, running down."""

from typing import TYPE_CHECKING

from textual.widgets import Static

from logger.core.quantities.units import show_rest
from tui.present import GOOD, WARN, Cell
from tui.widgets.frame import lines

if TYPE_CHECKING:
    from tui.desk import Desk

BAR = 30


def rest_line(left_s: float, whole_s: float) -> Cell:
    """One line: a bar and what is left."""
    if left_s <= 0.0:
        return Cell(f"Rest: [{'#' * BAR}] over, the actuator may run again.", GOOD)
    done = int(BAR * (1.0 - left_s / whole_s)) if whole_s > 0 else BAR
    return Cell(
        f"Rest: [{'#' * done}{'.' * (BAR - done)}] {show_rest(left_s)} of {show_rest(whole_s)} left for the duty cycle.",
        WARN,
    )


class RestTimer(Static):
    """Counts by the clock that was handed in; it runs on while another screen is open."""

    def __init__(self, desk: "Desk", rig: str) -> None:
        super().__init__()
        self._desk, self._rig = desk, rig
        self.wanted = True
        """Nobody waits for the rest where no throw is to come."""
        self.display = False

    def on_mount(self) -> None:
        """Look once a second."""
        self.set_interval(1.0, self.repaint)
        self.repaint()

    @property
    def left_s(self) -> float:
        """What is left [s]; none when no throw was made yet."""
        until_s, _ = self._desk.rests.get(self._rig, (0.0, 0.0))
        return max(0.0, until_s - self._desk.monotonic())

    def repaint(self) -> None:
        """Draw it."""
        self.display = self.wanted and self._rig in self._desk.rests
        if self.display:
            self.update(lines(self.app, [rest_line(self.left_s, self._desk.rests[self._rig][1])]))
