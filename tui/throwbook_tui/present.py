"""Results as words, cells and tones. Nothing of Textual: a tone is a name, the theme gives it a colour.

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
from throwbook.core.quantities.rounding import limit_text, measured_text
from throwbook.core.status.latch import DO_NOT_USE, IN_SERVICE, Status
from throwbook.core.status.status_text import pending
from throwbook.core.wording import FIGURES, LIMITS, NOT_COMMISSIONED
from throwbook.core.wording import Cell as Cell
from throwbook.core.wording import verdict_cell as verdict_cell

GOOD, WARN, BAD, QUIET, STRONG, PLAIN = "good", "warn", "bad", "quiet", "strong", ""
EDGE = "edge"
"""As bad, without a ground of its own: for lines and points."""
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
    return (
        LIMITS[check.name].figure.sentence,
        measured_text(check.measured, check.unit),
        f"{side} {limit_text(check.limit, check.side, check.unit)}",
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
