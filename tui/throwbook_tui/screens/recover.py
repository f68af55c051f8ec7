"""Recordings that broke off: a crash, a flat battery, a pulled plug. Until they are judged their rigs are restricted."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar

from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.quantities.text import counted
from throwbook.core.wording import FALL
from throwbook.errors import ThrowbookError
from throwbook_tui.present import (
    BAD,
    GOOD,
    STRONG,
    WARN,
    Cell,
    sentence,
    spoken,
    verdict_cell,
)
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import lines

if TYPE_CHECKING:
    from throwbook.jobs.store_trial import JudgedRecording
    from throwbook.jobs.unfinished import Unfinished

MID_WAY = "Nobody knows where the pins are. The throw may have stopped half-way. Look at both pins, one at a time, before the attachment is lifted."


class RecoverScreen(Page[None]):
    """Each is judged and kept on a sheet of its own, counted or not, or left for later."""

    HELP = "recover"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("enter", "keep", "judge and keep", "Enter"),
        key("d", "discard", "judge, not counted"),
        key("escape,l", "back", "leave for later", "Esc"),
        key("enter,escape", "go_on", "go on", "Enter"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._left: list[Unfinished] = []
        self._told: list[Cell | str] = []
        self._busy = False

    def body(self) -> Iterator[Widget]:
        """A list."""
        yield Static(id="first")

    def on_mount(self) -> None:
        """Look what there is."""
        self.head("interrupted recording")
        from throwbook.jobs.store_trial import left_over

        logbook = self.desk.logbook
        self.work("look", lambda: left_over(logbook))

    def done_look(self, found: "list[Unfinished]") -> None:
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
                    f"{counted(len(self._left), 'recording')} interrupted and not judged yet:",
                    STRONG,
                )
            )
            cells += [
                Cell(f"- {one.rig or 'a rig that nobody knows'}: {one.sentence}", WARN) for one in self._left
            ]
            cells += [
                Cell(""),
                Cell(MID_WAY, BAD),
                Cell(FALL, WARN),
                Cell(""),
                Cell("Enter judges what was recorded and keeps it on a spot sheet."),
                Cell("D judges it and tightens the status by what it shows, but the throw does not count."),
                Cell(
                    "Esc leaves it for later: the rig stays restricted, and the recording is offered again."
                ),
            ]
        cells += self._told
        self.query_one("#first", Static).update(lines(self.app, cells))

    def action_keep(self) -> None:
        """One after the other, in a worker."""
        self._judge(discard=False)

    def action_discard(self) -> None:
        """They count for nothing; what they show is raised all the same."""
        self._judge(discard=True)

    def _judge(self, *, discard: bool) -> None:
        from throwbook.jobs.store_trial import judge_left_over

        self._busy = True
        self.refresh_bindings()
        desk, left = self.desk, list(self._left)
        self.work(
            "keep",
            lambda: list(judge_left_over(left, desk.logbook, desk.by, desk.now(), discard=discard)),
        )

    def failed_keep(self, error: ThrowbookError) -> None:
        """They are still there, and can be tried again."""
        self._busy = False
        self.refresh_bindings()
        self.tell(spoken(error), BAD)

    def done_keep(self, judged: "list[JudgedRecording]") -> None:
        """What became of each; one that can't be judged is still there."""
        self._busy = False
        self._left = [one.recording for one in judged if one.error is not None]
        self._told = [Cell("Judged:", STRONG), *(cell for one in judged for cell in _told(one))]
        self._told += [
            Cell(""),
            Cell(MID_WAY, WARN),
            Cell("The recording was interrupted. Throw again for a complete record. Enter goes on.", GOOD),
        ]
        self.refresh_bindings()
        self.repaint()

    def action_go_on(self) -> None:
        """To the list of rigs."""
        self.dismiss(None)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Before: keep, discard or leave. Then only: go on, or discard what can't be judged."""
        done, waiting = bool(self._told), bool(self._left) and not self._busy
        return {
            "keep": waiting and not done,
            "discard": waiting,
            "back": not done,
            "go_on": done,
        }.get(action, True)


def _told(one: "JudgedRecording") -> list[Cell]:
    """What became of one recording, a line for each movement."""
    whose = f"{one.recording.rig or 'a rig that nobody knows'}, {one.recording.direction or 'either way'}"
    if one.error is not None:
        return [Cell(f"{whose}: still not judged. {sentence(spoken(one.error))} D sets it aside.", BAD)]
    if one.recorded is None:
        return [Cell(f"{whose}: cannot be judged. It was set aside: {one.set_aside}", BAD)]
    if one.kept is None:
        return [Cell(f"{whose}: dropped, because it is not a throw of a rig in this logbook.", WARN)]
    if one.kept.kept_out:
        where = f"not in the logbook, {one.kept.kept_out}. It is in {one.kept.file}."
        return [Cell(f"{whose}: {where}", WARN)]
    where = f"On sheet {one.kept.sheet}." if one.kept.sheet else f"In {one.kept.file}."
    found = []
    for throw in one.recorded.throws:
        judged = throw.assessment
        said = f"{judged.verdict}. {sentence(judged.because)} {where}"
        found.append(
            Cell(f"{one.recording.rig}, {judged.direction}: {said}", verdict_cell(judged.verdict).tone)
        )
    return found
