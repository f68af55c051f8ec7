"""Recordings that broke off: a crash, a flat battery, a pulled plug. What is left of them is offered at the start."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Static

from logger.core.cautions import FALL
from tui.present import BAD, GOOD, STRONG, WARN, Cell, sentence, verdict_cell
from tui.screens.page import Page, key
from tui.widgets.frame import lines

if TYPE_CHECKING:
    from logger.jobs.recovering import Found


MID_WAY = (
    "Nobody knows where the pins stand: the throw may have ended half-way. Look at both pins, each by itself, before the "
    "attachment is lifted."
)


class RecoverScreen(Page[None]):
    """Each is kept on a sheet of its own, or left for later; nothing is thrown away here."""

    HELP = "recover"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter", "keep", "keep what is left", "Enter"),
        key("escape,l", "back", "leave for later", "Esc"),
        key("enter,escape", "go_on", "go on", "Enter"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._left: list[Found] = []
        self._told: list[Cell | str] = []
        self._busy = False

    def body(self) -> Iterator[Widget]:
        """A list."""
        yield Static(id="first")

    def on_mount(self) -> None:
        """Look what there is."""
        self.head("a recording broke off")
        from logger.jobs.recovering import found_broken_off

        logbook = self.desk.logbook
        self.work("look", lambda: found_broken_off(logbook))

    def done_look(self, found: "list[Found]") -> None:
        """Show them."""
        self._left = found
        self.refresh_bindings()
        self.repaint()

    def repaint(self) -> None:
        """What is left, then what became of it."""
        super().repaint()
        cells: list[Cell | str] = []
        if self._left:
            cells.append(
                Cell(
                    f"{len(self._left)} recording{'s' if len(self._left) > 1 else ''} broke off before it was kept:",
                    STRONG,
                )
            )
            cells += [
                Cell(f"- {one.rig}, {one.direction}, begun {one.begun:%Y-%m-%d %H:%M}", WARN)
                for one in self._left
            ]
            cells += [
                Cell(""),
                Cell(MID_WAY, BAD),
                Cell(FALL, WARN),
                Cell(""),
                Cell(
                    "Enter judges what is left and keeps it on a spot sheet. Esc leaves it; it is offered again."
                ),
            ]
        cells += self._told
        self.query_one("#first", Static).update(lines(self.app, cells))

    def action_keep(self) -> None:
        """One after the other, in a worker."""
        from logger.jobs.recovering import keep_broken_off

        self._busy = True
        self.refresh_bindings()
        desk, left = self.desk, list(self._left)
        self.work("keep", lambda: [keep_broken_off(one, desk.logbook, desk.by, desk.now()) for one in left])

    def failed_keep(self, error: Exception) -> None:
        """It is still there, and can be tried again."""
        self._busy = False
        self.refresh_bindings()
        self.tell(str(error), BAD)

    def done_keep(self, kept: list[Any]) -> None:
        """What became of each."""
        self._left = []
        self._told = [Cell("Kept:", STRONG)]
        for recorded, where in kept:
            for throw in recorded.throws:
                judged = throw.assessment
                if where.kept_out:
                    said = f"not in the logbook, {where.kept_out}. It is in {where.file}."
                    self._told.append(Cell(f"{judged.direction}: {said}", WARN))
                    continue
                said = f"{judged.verdict}. {sentence(judged.because)} On sheet {where.sheet}."
                self._told.append(Cell(f"{judged.direction}: {said}", verdict_cell(judged.verdict).tone))
        self._told += [
            Cell(""),
            Cell(MID_WAY, WARN),
            Cell("It broke off: throw again for a whole record. Enter goes on.", GOOD if kept else BAD),
        ]
        self.refresh_bindings()
        self.repaint()

    def action_go_on(self) -> None:
        """To the list of rigs."""
        self.dismiss(None)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Before: keep or leave. Then only: go on."""
        kept = bool(self._told)
        return {"keep": bool(self._left) and not self._busy, "back": not kept, "go_on": kept}.get(
            action, True
        )
