"""One service entry as it was logged."""

from typing import Any, ClassVar

from textual.binding import BindingType

from logger.core.records.records import Service
from logger.core.standing.service import MOMENTS, entry_from
from tui.present import QUIET, STRONG, Cell, day
from tui.screens.page import key
from tui.screens.text_page import TextPage


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
            told = (f"{one.what} ({day(one.on)})" if one.on else one.what) if one else "not written"
            cells.append(Cell(f"{name:<9} {told}", STRONG if one else QUIET))
        rest = (
            ("parts", entry.parts),
            ("hour meter", f"{entry.machine_hours_h:g} h" if entry.machine_hours_h is not None else ""),
            ("cost", entry.cost),
            ("next check", day(entry.due_on) if entry.due_on else ""),
            ("stretch", "a new one starts here" if entry.starts_stretch else "goes on"),
            ("written by", entry.by),
        )
        cells += [Cell(""), *(Cell(f"{name:<11} {told}") for name, told in rest if told)]
        if entry.answers:
            cells.append(
                Cell(
                    f"It answers {len(entry.answers)} of the orders that held the rig; only a signed order clears."
                )
            )
        return cells

    def action_correct(self) -> None:
        """Another entry that stands for this one from now on."""
        self.open_screen("service", self._entry.rig, corrects=self._entry, then=self._corrected)

    def _corrected(self, _: Any) -> None:
        """Back to the rig: its list shows the one that counts."""
        self.dismiss(None)
