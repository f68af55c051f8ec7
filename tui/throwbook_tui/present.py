"""Results and errors as words, cells and tones. Nothing of Textual: a tone is a name, the theme gives it a colour.

A tone only repeats what the word already says; with NO_COLOR nothing is lost.
"""

from collections.abc import Sequence
from datetime import date, datetime

from throwbook.core.assessment import (
    FAIL,
    INFO,
    PASS,
    WATCH,
    Assessment,
    Check,
    Measured,
    sign_text,
)
from throwbook.core.quantities.rounding import judged_text, limit_text, measured_text
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE, Status
from throwbook.core.status.status_text import pending
from throwbook.core.wording import FIGURES, LIMITS, NOT_COMMISSIONED
from throwbook.core.wording import Cell as Cell
from throwbook.core.wording import verdict_cell as verdict_cell
from throwbook.errors import Remedy, ThrowbookError, plain

GOOD, WARN, BAD, QUIET, STRONG, PLAIN = "good", "warn", "bad", "quiet", "strong", ""
EDGE = "edge"
"""As bad, without a ground of its own: for lines and points."""
NEXT = "  <-\N{NO-BREAK SPACE}Enter"
"""Behind the line that Enter does."""
# status: (mark that needs no colour, tone)
STATUSES: dict[str, tuple[str, str]] = {
    IN_SERVICE: ("  ", GOOD),
    "watch": ("! ", WARN),
    "restricted": ("!!", WARN),
    DO_NOT_USE: ("XX", BAD),
}
FIGURES_PASS = "FIGURES PASS"
"""Current and time alone: nobody has looked at the pins yet."""


def large_word(assessment: Assessment) -> Cell:
    """The word at the end of a throw, to be read at arm's length."""
    failed = {sign.sign for sign in assessment.signs if sign.level == FAIL}
    if "stall" in failed:
        return Cell("STALL", BAD)
    word, tone = verdict_cell(assessment.verdict)
    return Cell(FIGURES_PASS if assessment.verdict == PASS else word.upper(), tone)


def status_cell(status: Status, commissioned: bool) -> Cell:
    """Where a rig stands; a rig without an accepted commissioning sheet is never called in service."""
    mark, tone = STATUSES[status.level]
    if status.level == IN_SERVICE and not commissioned:
        return Cell(f"?  {NOT_COMMISSIONED.column}", WARN)
    word = status.level.upper() if status.level == DO_NOT_USE else status.level
    return Cell(f"{mark} {word}", tone)


def reason_lines(status: Status) -> list[str]:
    """What holds a rig, worst first; the same thing once."""
    return [*dict.fromkeys(f"{one.level}: {one.sentence}" for one in status.open), *pending(status)]


def unfinished_in(status: Status) -> bool:
    """Whether a recording of the rig isn't judged yet."""
    return any(one.journal for one in status.pending)


def day(moment: datetime | date | None) -> str:
    """A date as it stands in every table."""
    return "-" if moment is None else f"{moment:%Y-%m-%d}"


NOT_LISTED = ("start_s", "end_s", "back_emf_vs")
"""Figures that say nothing to a person."""


def figure_text(name: str, measured: Measured | None) -> str:
    """A figure with its uncertainty; a share in per cent."""
    return measured_text(measured, FIGURES[name].unit)


def short_figure(measured: Measured | None, unit: str) -> str:
    """A figure without its uncertainty, where there is no room for it, in no more digits than that supports."""
    return "-" if measured is None else f"{measured_text(measured, '', 2).partition(' ')[0]} {unit}"


def figure_rows(assessment: Assessment) -> list[tuple[str, str]]:
    """Every figure that the record gives."""
    return [
        (FIGURES[name].sentence, figure_text(name, measured))
        for name, measured in assessment.figures.items()
        if measured is not None and name not in NOT_LISTED
    ]


def sign_rows(assessment: Assessment) -> list[tuple[Cell, str]]:
    """Signs, the worst first."""
    order = {FAIL: 0, WATCH: 1, INFO: 2}
    tones = {FAIL: BAD, WATCH: WARN, INFO: QUIET}
    return [
        (Cell(f"{sign.level}: {sign_text(sign)}", tones[sign.level]), sign.because)
        for sign in sorted(assessment.signs, key=lambda one: order[one.level])
    ]


def check_row(check: Check) -> tuple[str, str, str, Cell]:
    """A limit that was judged: what, measured, limit, decision."""
    tone = {"pass": GOOD, "fail": BAD}.get(check.decision, WARN)
    side = "at most" if check.side == "max" else "at least"
    word = check.decision.upper() if check.decision == "fail" else check.decision
    share = LIMITS[check.name].figure.share_of
    return (
        LIMITS[check.name].figure.sentence,
        judged_text(check.measured, check.limit, check.side, check.unit),
        f"{side} {limit_text(check.limit, check.side, check.unit)} {share}".rstrip(),
        Cell(word, tone),
    )


def cause_lines(assessment: Assessment) -> list[Cell]:
    """What it may be, what else, and the action that splits them."""
    found: list[Cell] = []
    actions: list[str] = []
    for one in assessment.diagnoses:
        levels = {sign.level for sign in assessment.signs if sign.sign in one.signs}
        if levels == {INFO}:
            continue
        found.append(Cell(f"{one.sure.capitalize()}: {one.cause}", STRONG))
        if one.rivals:
            found.append(Cell(f"Could also be: {'; '.join(one.rivals)}"))
        if one.action not in actions:
            found.append(Cell(f"To tell: {one.action}"))
            actions.append(one.action)
    return found


def three_digits(value: float) -> str:
    """Always three, so that figures below each other can be compared: 2.80 beside 2.86."""
    return f"{value:#.3g}".rstrip(".")


def sentence(text: str) -> str:
    """With a capital and one full stop."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""


def joined(texts: Sequence[str]) -> str:
    """One paragraph of several sentences."""
    return " ".join(sentence(text) for text in texts if text)


FIELDS = {
    "accuracy": "its accuracy",
    "action": "what was done",
    "at": "time of the throw",
    "because": "the reason",
    "cause": "what was seen",
    "corrects": "the entry it corrects",
    "day": "day of the throws",
    "due": "next check on",
    "found-on": "found on",
    "fixed-on": "fixed on",
    "instrument": "reference meter",
    "on": "day of the work",
    "order": "the order",
    "pair": "readings",
    "paper": "paper",
    "reason": "the reason",
    "seen-how": "how seen",
    "seen-on": "seen on",
    "service": "service entry",
    "signed": "signed by",
    "verified-on": "verified on",
}
"""Field of an error: what the screen calls it. One that isn't here is asked by the command line only."""

REMEDIES = {
    Remedy.ADD_CHECK: "Make a check first: S on the rig's screen plans it.",
    Remedy.ADD_RIG: "N on the list of rigs adds one.",
    Remedy.AS_READ: "If you really read it, enter it from the command line.",
    Remedy.BRING_BACK: "It is brought back from the command line.",
    Remedy.CHECK_BOARD: "C on the board screen checks it.",
    Remedy.CHECK_LOGBOOK: "'check' under L on the list of rigs shows what is wrong, and where.",
    Remedy.RESTORE_BACKUP: "'restore' under L on the list of rigs does it, and keeps the present file beside it.",
    Remedy.ENTER_AGAIN: "If they are new throws, enter them one by one.",
    Remedy.FIND_BOARD: "B, then F: the board screen searches every port.",
    Remedy.JUDGE_AGAIN: "'check' under L on the list of rigs judges them again.",
    Remedy.JUDGE_FIRST: "Judge it first: J on the rig's screen, or on the list of rigs.",
    Remedy.LIST_ALL: "E on the rig's screen shows all.",
    Remedy.LIST_OPEN: "W on the rig's screen lists the open ones.",
    Remedy.LIST_SERVICES: "The rig's screen lists them.",
    Remedy.LIST_SHEETS: "The rig's screen lists them.",
    Remedy.OTHER_FILE: "Choose another name.",
    Remedy.OTHER_FOLDER: "Or choose another folder.",
    Remedy.RIGHT_PHOTOGRAPH: "If it is the right one, choose it again and press Y.",
    Remedy.SAY_NO: "Only a NO at a pin is still taken: L on the sheet.",
    Remedy.SAY_WHY: 'If it should stand for that one, write the reason, for example "new actuator".',
    Remedy.SET_RATE: "Set them on the board screen: B, then S.",
    Remedy.SHOW_MISSING: "M on the sheet lists all that is missing.",
    Remedy.SHOW_SHEET: "The sheet lists them.",
    Remedy.START_LOGBOOK: "N on the list of rigs starts one.",
    Remedy.TRY_BAUD: "F on the board screen finds the right one, S sets it.",
    Remedy.STEPS_TO_CLEAR: "To clear 'do not use': record the cause, log the repair, commission again in full, then sign. W on the rig's screen shows the steps.",
}
"""What the screen says for a remedy. One that isn't here is of a command only, and said by its plain name."""


def spoken(error: ThrowbookError) -> str:
    """The line of an error, its field and its remedy as the screen says them."""
    return error.said(
        lambda field: FIELDS.get(field, field), lambda remedy: REMEDIES.get(remedy) or plain(remedy)
    )
