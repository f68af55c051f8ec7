"""The way back of a rig that is held: every step in its order, none to be skipped."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from logger.core.cautions import BOTH_PINS, OUT_OF_USE, QUALIFIED
from logger.core.standing.status import CAUSE_FOUND, DO_NOT_USE, RECOMMISSIONED, REPAIR
from logger.core.standing.status_words import judging_first, refused
from tui.doors import start_sheet
from tui.present import BAD, GOOD, QUIET, STATUSES, STRONG, WARN, Cell, held_lines
from tui.screen_words import for_screen
from tui.screens.page import Page, key
from tui.widgets.big import Big
from tui.widgets.frame import listed

if TYPE_CHECKING:
    from logger.jobs.way_back import WayBack

SAID = {
    "cause found": "find the cause and write it down (with the repair, in the service log)",
    "repair": "log the repair: what was found, what was done",
    "recommissioned": "commission anew in full; the sheet must be planned after the repair",
    "signed": "sign it",
    "reason": "give the reason",
}


class WayBackScreen(Page[None]):
    """Enter does the step that is next; there is no key for a later one."""

    HELP = "way back"
    BINDINGS: ClassVar[list[BindingType]] = [key("enter", "next", "do the next step", "Enter")]

    def __init__(self, rig: str) -> None:
        super().__init__()
        self._rig = rig
        self._found: WayBack | None = None

    def body(self) -> Iterator[Widget]:
        """Large word, what holds it, the steps."""
        yield Big(id="big")
        with VerticalScroll():
            yield Static(id="first")

    def on_mount(self) -> None:
        """Load."""
        self.head(f"{self._rig} | the way back")
        self.reload()
        self.query_one(VerticalScroll).focus()

    def on_screen_resume(self) -> None:
        """A step may be done."""
        if self._found is not None:
            self.reload()

    def reload(self) -> None:
        """Read it again."""
        from logger.jobs.way_back import way_back

        logbook, rig = self.desk.logbook, self._rig
        self.work("way", lambda: way_back(logbook, rig))

    def done_way(self, found: "WayBack") -> None:
        """Show it."""
        self._found = found
        self.repaint()
        self.refresh_bindings()

    def repaint(self) -> None:
        """Reasons, steps, cautions."""
        super().repaint()
        if self._found is None:
            return
        status = self._found.status
        mark, tone = STATUSES[status.level]
        self.head(
            f"{self._rig} | the way back",
            Cell(f"{mark} {status.level.upper() if tone == BAD else status.level}", tone),
        )
        self.query_one(Big).show(Cell(status.level.upper(), tone))
        held = held_lines(status)
        worst = [text for text in held if text.startswith(status.level)]
        lesser = [text for text in held if text not in worst]
        # Where the hazard is the caution stands first, and no line is spent on looks: at 24 rows the steps still show.
        cells: list[Cell | str] = [Cell(OUT_OF_USE, BAD)] if status.level == DO_NOT_USE else []
        cells += [Cell("What holds it:", STRONG)] if held else []
        cells += [Cell(f"- {text}") for text in worst]
        cells += [Cell(f"and, less grave, {len(lesser)} more: below", QUIET)] if lesser else []
        cells += [Cell(text, WARN) for text in refused(status)]
        steps = "The way back, step by step; none can be skipped:"
        cells.append(Cell(steps if self._found.steps else "No order is open against this rig.", STRONG))
        cells += [Cell(f"[ ] first {for_screen(text)}", WARN) for text in judging_first(status)]
        following = True
        for number, step in enumerate(self._found.steps, start=1):
            mark = "[x]" if step.done else "[ ]"
            what = f": {step.with_what}" if step.with_what else ""
            is_next = following and not step.done
            cells.append(
                Cell(
                    f"{mark} {number}. {SAID[step.need]}{what}{'  <- Enter' if is_next else ''}",
                    GOOD if step.done else WARN if is_next else "",
                )
            )
            following = following and step.done
        if lesser:
            cells += [
                Cell(""),
                Cell("It is held by this as well:", STRONG),
                *(Cell(f"- {one}") for one in lesser),
            ]
        cells += [Cell(""), Cell(QUALIFIED if status.level == DO_NOT_USE else BOTH_PINS, WARN)]
        self.query_one("#first", Static).update(listed(self.app, cells))

    def action_next(self) -> None:
        """Do the first step that isn't done."""
        assert self._found is not None
        step = next((one for one in self._found.steps if not one.done), None)
        if step is None:
            return
        if step.need in (CAUSE_FOUND, REPAIR):
            self.open_screen("service", self._rig, repair=True)
        elif step.need == RECOMMISSIONED:
            if self._found.open_sheet is not None:
                self.open_screen("sheet", self._found.open_sheet.name)
            else:
                start_sheet(self.app, self._rig, "commissioning")
        else:
            self.open_screen("clear", self._rig, self._found)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """Nothing to do in service."""
        return not (action == "next" and (self._found is None or not self._found.steps))
