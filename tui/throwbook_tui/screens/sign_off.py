"""Accept or reject a sheet: what is still missing, the signature, what the accepted sheet states."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.quantities.text import written
from throwbook.core.records import YES
from throwbook.core.status.latch import DO_NOT_USE
from throwbook.core.wording import BOTH_PINS
from throwbook_tui.fields import CHOICE, FieldSpec
from throwbook_tui.present import BAD, GOOD, QUIET, STRONG, WARN, Cell, status_cell
from throwbook_tui.rows import acceptance_cells, still_missing
from throwbook_tui.screens.form_page import FormPage
from throwbook_tui.screens.page import TextPage, key
from throwbook_tui.widgets.frame import Big, listed

if TYPE_CHECKING:
    from throwbook.jobs.sheets import SheetView
    from throwbook.jobs.sign_off import Accepted


class MissingScreen(TextPage):
    """A list to work through."""

    HELP = "sign"
    IS_LIST = True

    def __init__(self, found: "SheetView") -> None:
        super().__init__()
        self._found = found

    def where(self) -> str:
        """Of which sheet."""
        return f"{self._found.state.name} | what is missing"

    def text(self) -> list[Cell | str]:
        """The list."""
        return acceptance_cells(self._found)


NEW_BASELINE = FieldSpec(
    "baseline", "reason for a new baseline", hint="only where these throws replace the baseline"
)
DOUBTED = FieldSpec(
    "doubts", "why the times are doubtful", hint="to accept it all the same: typed in later, ..."
)
IN_THE_TREND = "Its throws count in the trend. To leave out a mistyped throw, press X on the sheet before you sign, not afterwards."
BEFORE_THE_TREND = "Its throws stay in the logbook but do not count in the trend. The trend begins with the first accepted commissioning sheet."


class SignScreen(FormPage[None]):
    """Nothing is accepted that lacks anything; a rejection needs its reason."""

    HELP = "sign"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("ctrl+s,f2", "enter", "accept", "Ctrl-S"),
        key("ctrl+r,f3", "reject", "reject", "Ctrl-R"),
    ]

    def __init__(self, found: "SheetView") -> None:
        super().__init__()
        self._found = found

    def draft_name(self) -> str:
        """One for each sheet."""
        return f"sign-{self._found.state.name}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """A name, and what only some sheets need."""
        risky = FieldSpec("shared_risk", "accept the shared risk", CHOICE, choices=(("", "no"), (YES, "yes")))
        return (
            FieldSpec("signed", "signed by", must=True, hint="the person who looked at the pins"),
            *([risky] * bool(self._found.acceptance.shared_risk)),
            *([DOUBTED] * bool(self._found.acceptance.impossible)),
            FieldSpec("because", "rejected because", hint="only to reject: what was wrong with it"),
            *([NEW_BASELINE] * self._found.commissioned),
        )

    def body(self) -> Iterator[Widget]:
        """The signature, and below it what is missing, to be scrolled with the arrow keys."""
        yield self.make_form()
        with VerticalScroll(id="missing-place"):
            yield Static(id="missing", classes="says")

    def opened(self) -> None:
        """Show what is missing."""
        self.head(f"{self._found.state.name} | accept or reject")
        self._show()

    def _show(self) -> None:
        cells = acceptance_cells(self._found, signing=True)
        if self._found.state.sheet.kind != "bench":
            cells.insert(0, Cell(BOTH_PINS, WARN))
        self.query_one("#missing", Static).update(listed(self.app, cells))

    @property
    def _in_the_trend(self) -> str:
        """Whether its throws count over the years: what comes before the baseline doesn't."""
        return IN_THE_TREND if self._found.commissioned else BEFORE_THE_TREND

    def enter(self) -> None:
        """Accept: by the rules, or refused with everything that is missing."""
        signed = self.form.field("signed").value.strip()
        values = self.form.values()
        if values["because"].strip():
            self.form.field("because").focus_answer()
            self.tell("A reason for rejecting is filled in. Ctrl-R rejects. To accept, empty it.", WARN)
            return
        risk = values.get("shared_risk") == YES
        # What is listed as missing may be just what the shared risk takes: then the signature itself tells what is left.
        missing = () if risk else still_missing(self._found)
        if missing:
            more = f" And {len(missing) - 1} more, listed below." if len(missing) > 1 else ""
            self.tell(f"Not accepted: {missing[0].rstrip('.')}.{more}", WARN)
            return
        doubts = values.get("doubts", "")
        if self._found.acceptance.impossible and not written(doubts):
            self.form.field("doubts").focus_answer()
            self.tell(
                f"Doubtful: {self._found.acceptance.impossible[0]}. To accept it all the same, say why.", WARN
            )
            return
        question = f"Accept sheet {self._found.state.name}{' by shared risk' * risk}, signed {signed}?"
        meaning = "The sheet is then sealed. Nothing on it can be changed afterwards."
        if risk:
            meaning = "\n".join((*self._found.acceptance.shared_risk, "", meaning))
        self.confirm(
            question, meaning, lambda: self._accept(signed, values.get("baseline", ""), risk, doubts)
        )

    def _accept(self, signed: str, baseline: str, risk: bool, doubts: str) -> None:
        from throwbook.core.records import PinAnswers
        from throwbook.jobs.sign_off import accept

        desk, name = self.desk, self._found.state.name
        # What was seen is written down throw by throw; here nothing is claimed for all of them at once.
        self.work_once(
            "accept",
            lambda: accept(
                desk.logbook,
                name,
                PinAnswers(),
                signed,
                desk.now(),
                baseline,
                shared_risk=risk,
                doubts_because=doubts,
            ),
        )

    def done_accept(self, done: "Accepted") -> None:
        """Sealed."""
        self.drop_draft()
        self.replace_by("statement", done)

    def action_reject(self) -> None:
        """End it as rejected, with its reason."""
        signed, because = self.form.field("signed").value.strip(), self.form.field("because").value.strip()
        if not signed or not because:
            self.form.field("because" if signed else "signed").focus_answer()
            self.tell("To reject: fill in what was wrong, and your name.", WARN)
            return
        question = f"Reject sheet {self._found.state.name}: {because}?"
        meaning = "It is sealed and stays in the history. Plan another sheet.  " + self._in_the_trend
        self.confirm(question, meaning, lambda: self._reject(because, signed))

    def _reject(self, because: str, signed: str) -> None:
        from throwbook.jobs.sign_off import reject

        desk, name = self.desk, self._found.state.name
        self.work_once("reject", lambda: reject(desk.logbook, name, because, signed, desk.now()))

    def done_reject(self, _: Any) -> None:
        """Sealed."""
        self.drop_draft()
        self.app.bell()
        self.dismiss(None)


ROOM = 76
"""Columns that the large word for the whole of it takes."""
STAYS = "only a signed clearance eases it. Esc to the rig, then W for the next step."


class StatementScreen(TextPage):
    """Shown once after the signature; the sheet itself keeps it."""

    HELP = "sign"

    def __init__(self, done: "Accepted") -> None:
        super().__init__()
        self._done = done

    def where(self) -> str:
        """Of which sheet."""
        return f"{self._done.state.name} | accepted and sealed"

    def body(self) -> Iterator[Widget]:
        """Large word, statement."""
        yield Big(id="big")
        yield from super().body()

    def beside(self) -> Cell:
        """The status of the rig."""
        return status_cell(self._done.status, True)

    def repaint(self) -> None:
        """The large word, as long as there is room for."""
        super().repaint()
        word = "SHEET ACCEPTED" if self.app.size.width >= ROOM else "ACCEPTED"
        self.query_one(Big).show(Cell(word, GOOD))

    def text(self) -> list[Cell | str]:
        """Statement, blanks, baseline."""
        done = self._done
        cells: list[Cell | str] = []
        if done.status.open:
            level = done.status.level
            word = level.upper() if level == DO_NOT_USE else level
            cells += [Cell(f"The rig stays '{word}': {STAYS}", BAD if level == DO_NOT_USE else WARN)]
        cells += [Cell(done.acceptance.statement, STRONG)]
        cells += [Cell(done.effect, STRONG)] if done.effect else []
        cells += [
            Cell(f"At best '{done.acceptance.verdict}' (this sheet, not the rig's status): {text}.", WARN)
            for text in done.acceptance.because
        ]
        if done.acceptance.claims_lost:
            cells.append(Cell(f"Not covered: {'; '.join(done.acceptance.claims_lost)}.", WARN))
        if done.baselines:
            cells.append(
                Cell(
                    f"Baseline set ({', '.join(done.baselines)}): later checks are compared with these throws.",
                    GOOD,
                )
            )
        if done.baseline_kept:
            cells.append(Cell(f"The previous baseline stays in use: {done.baseline_kept}.", QUIET))
        return [*cells, Cell(""), Cell(BOTH_PINS, WARN)]
