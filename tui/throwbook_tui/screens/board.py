"""Boards: found, checked, calibrated; their sampling and baud rate; a simulated board where there is none."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import DataTable, Static

from throwbook_tui.fields import COUNT, FieldSpec
from throwbook_tui.present import GOOD, QUIET, STRONG, WARN, Cell
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import RowTable, lines

if TYPE_CHECKING:
    from throwbook.jobs.board import AskedPort, BoardCheck


REHEARSAL = "rehearsal"

NONE = (
    Cell("No board answers.", STRONG),
    Cell(
        "Plug the board in, wait for its light, then press F to search again. If nothing is found, check that the driver is installed and that you may open the port."
    ),
    Cell("No board? H on the sheet measures by hand. X on a rig's screen practises on a simulated board."),
)


class BoardScreen(Page[str]):
    """Gives the port that was chosen."""

    HELP = "board"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter", "choose", "use this one", "Enter", priority=True),
        key("f", "find", "find"),
        key("c", "check", "check"),
        key("k", "calibrate", "calibrate"),
        key("s", "settings", "rate and baud"),
        key("x", "practise", "practise"),
    ]

    def __init__(self, choose_for: str = "") -> None:
        super().__init__()
        self._rig = choose_for
        self._found: list[AskedPort] = []
        self._check: BoardCheck | None = None
        self._says: list[Cell | str] = []

    def body(self) -> Iterator[Widget]:
        """Ports above, what a check found below."""
        yield Static(id="says", classes="says")
        yield RowTable(("port", "board", "baud", "details"), right=(2,), id="ports")
        with VerticalScroll(id="check-place", can_focus=False):
            yield Static(id="check", classes="says")

    def on_mount(self) -> None:
        """Look at once."""
        self.head("boards")
        self.query_one("#check-place").display = False
        self.action_find()

    def repaint(self) -> None:
        """Words, table, check."""
        super().repaint()
        asked = f"Throws are recorded at {self.desk.rate_hz} samples per second."
        self.query_one("#says", Static).update(lines(self.app, [*self._says, Cell(asked, QUIET)]))
        rows: list[tuple[str, list[Cell | str]]] = []
        for one in self._found:
            who = (
                Cell(f"{one.identity.id} ({one.identity.firmware}, {one.identity.channels})", GOOD)
                if one.identity
                else Cell(one.because, QUIET)
            )
            known = " ".join(filter(None, (one.info.description, one.info.maker, one.info.usb_id)))
            rows.append((one.info.device, [one.info.device, who, str(one.baud or ""), known]))
        self.query_one(RowTable).fill(rows)
        if self._check is not None:
            cells: list[Cell | str] = [
                Cell(f"Board {self._check.identity.id}, checked for {self._check.seconds:.1f} s:", STRONG)
            ]
            cells += [
                Cell(f"{'ok  ' if one.good else 'LOOK'} {one.say}", GOOD if one.good else WARN)
                for one in self._check.lines
            ]
            self.query_one("#check", Static).update(lines(self.app, cells))

    # ---- find ----

    def action_find(self) -> None:
        """Ask at every port; the one used last as well, if this computer doesn't list it. Who answered stands first."""
        self._says = [Cell("Trying every port ... (a board needs a moment to start)", STRONG)]
        self.repaint()
        known, find_boards = self.desk.port, self.desk.find_boards

        def find() -> "list[AskedPort]":
            found = list(find_boards())
            if known and known not in [one.info.device for one in found]:
                found += find_boards((known,))
            return sorted(found, key=lambda one: one.identity is None)

        self.work("find", find)

    def done_find(self, found: "list[AskedPort]") -> None:
        """Show them."""
        self._found = found
        good = [one for one in found if one.identity]
        if good:
            self._says = [
                Cell(
                    f"{len(good)} board{'s' if len(good) > 1 else ''} found. Enter uses the one under the cursor.",
                    STRONG,
                )
            ]
        else:
            self._says = list(NONE)
        self.repaint()
        self.query_one(RowTable).focus()

    def _chosen(self) -> "AskedPort | None":
        port = self.query_one(RowTable).chosen
        return next((one for one in self._found if one.info.device == port), None)

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        """Enter."""
        event.stop()
        self.action_choose()

    def action_choose(self) -> None:
        """Use this board from now on."""
        chosen = self._chosen()
        if chosen is None or chosen.identity is None:
            self.tell("There is no board at that port.", WARN)
            return
        desk = self.desk
        if chosen.identity.id == REHEARSAL and not (desk.practice or desk.simulated):
            self.tell(
                "That is a simulated board. Its throws prove nothing about the real machine. Use X to practise in a separate logbook.",
                WARN,
            )
            return
        desk.port, desk.baud = chosen.info.device, chosen.baud or desk.baud
        self.dismiss(chosen.info.device)

    # ---- check and calibrate ----

    def action_check(self) -> None:
        """Three seconds at rest."""
        from throwbook.jobs.board import check_board

        chosen = self._chosen()
        if chosen is None or chosen.identity is None:
            self.tell("Move the cursor to a board that answered.", WARN)
            return
        self.tell("Checking for three seconds. Keep the actuator at rest ...")
        port, baud = chosen.info.device, chosen.baud or self.desk.baud
        rate_hz = self.desk.rate_hz
        self.work("check", lambda: check_board(port, baud=baud, rate_hz=rate_hz))

    def done_check(self, check: "BoardCheck") -> None:
        """Line by line."""
        self._check = check
        self.query_one("#check-place").display = True
        self.tell(
            "No faults found. K calibrates its current against your meter."
            if check.good
            else "At least one check is not good: see the lines marked LOOK.",
            GOOD if check.good else WARN,
        )
        self.repaint()

    def action_calibrate(self) -> None:
        """Step by step against a meter."""
        chosen = self._chosen()
        if chosen is None or chosen.identity is None:
            self.tell("Move the cursor to a board that answered.", WARN)
            return
        self.open_screen("calibrate", chosen.info.device, chosen.baud or self.desk.baud, chosen.identity.id)

    def action_settings(self) -> None:
        """Samples a second, and the speed of the line."""
        self.open_screen("board settings", then=lambda _: self.repaint())

    def action_practise(self) -> None:
        """A simulated board for this rig."""
        self.open_screen("practice", self._rig)

    def check_action(self, action: str, parameters: tuple[Any, ...]) -> bool | None:
        """Already practising? On which rig?"""
        return action != "practise" or bool(self._rig and not self.desk.practice)


class BoardSettingsScreen(FormPage[None]):
    """Kept until the program ends; a board that can't carry it says so, and which baud would."""

    HELP = "board settings"

    def draft_name(self) -> str:
        """One for all boards."""
        return "board-settings"

    def specs(self) -> tuple[FieldSpec, ...]:
        """Both are whole numbers."""
        return (
            FieldSpec("rate_hz", "samples per second", COUNT, must=True, hint="200 is plenty", replaced=True),
            FieldSpec("baud", "baud rate", COUNT, must=True, hint="115200 is usual", replaced=True),
        )

    def first_values(self) -> dict[str, str]:
        """What counts now."""
        return {"rate_hz": str(self.desk.rate_hz), "baud": str(self.desk.baud)}

    def opened(self) -> None:
        """Head line."""
        self.head("boards | sampling and baud rate")

    def enter(self) -> None:
        """From the next check or throw on."""
        values = self.form.values()
        self.desk.rate_hz, self.desk.baud = int(values["rate_hz"]), int(values["baud"])
        self.drop_draft()
        self.dismiss(None)
