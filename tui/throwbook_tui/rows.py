"""The rows of a rig's lists and of a sheet, what an acceptance still lacks, and what comes next on a sheet."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from throwbook.core.assessment import WATCH, sign_text
from throwbook.core.listing import MARKS, SERVICES, SHEET_LIST, THROWS, Listing
from throwbook.core.quantities.rounding import measured_text
from throwbook.core.quantities.text import counted
from throwbook.core.records import BENCH, OPEN, SEEN
from throwbook.core.rig import LOCK, UNLOCK
from throwbook.core.sheets.acceptance import same_together
from throwbook.core.sheets.acceptance_rules import NOBODY_SIGNED
from throwbook.core.status.latch import DO_NOT_USE
from throwbook.core.status.maintenance import entry_from
from throwbook.core.wording import FIGURES, SIGNS
from throwbook_tui.present import (
    GOOD,
    QUIET,
    STRONG,
    WARN,
    Cell,
    figure_text,
    sentence,
    short_figure,
    verdict_cell,
)

if TYPE_CHECKING:
    from throwbook.core.records import LoggedTrial
    from throwbook.jobs.rigs import RigView
    from throwbook.jobs.sheets import SheetView


def still_missing(found: "SheetView") -> tuple[str, ...]:
    """What an acceptance lacks but the signature, the same of several throws as one thing: counted alike everywhere."""
    return same_together([text for text in found.acceptance.missing if text != NOBODY_SIGNED], found.trials)


def acceptance_cells(found: "SheetView", signing: bool = False) -> list[Cell | str]:
    """The sheet's verdict, what is missing, what it can't speak for."""
    judged, missing = found.acceptance, still_missing(found)
    word, tone = verdict_cell(judged.of_figures)
    so_far = " so far" if found.state.state == OPEN else ""
    cells: list[Cell | str] = [Cell(f"Figures of the sheet{so_far}: {word}.", tone), *watched_cells(found)]
    cells += [
        Cell(f"At best '{judged.verdict}' (this sheet, not the rig's status): {sentence(text)}", WARN)
        for text in judged.because
    ]
    cells += [Cell(f"Doubtful: {text}.", WARN) for text in judged.doubts]
    if missing:
        cells.append(Cell(f"Still missing ({len(missing)}):", STRONG))
        cells += [Cell(f"- {text}", WARN) for text in missing]
    else:
        to_sign = ": A signs it" if found.state.state == OPEN and not signing else ""
        cells.append(Cell(f"Nothing else is missing{to_sign}.", GOOD))
    cells += [Cell(f"Shared risk: {text}.", WARN) for text in judged.shared_risk]
    if judged.not_proved:
        cells.append(Cell(f"Not proved, because nobody could read it: {', '.join(judged.not_proved)}.", WARN))
    if judged.claims_lost:
        cells.append(Cell(f"Not recorded, so not covered: {'; '.join(judged.claims_lost)}.", QUIET))
    return cells


def watched_cells(found: "SheetView") -> list[Cell]:
    """What its throws gave to watch, and which of them: whoever signs has to know."""
    throws: dict[str, list[str]] = {}
    for one in found.trials:
        for name in {sign.sign for sign in one.assessment.signs if sign.level == WATCH}:
            throws.setdefault(name, []).append(str(one.position))
    said = [f"{SIGNS[name].column} (throw {', '.join(at)})" for name, at in sorted(throws.items())]
    return [Cell(f"Signs to watch: {'; '.join(said)}.", WARN)] if said else []


THROW_FIGURES = ("travel_time_s", "run_current_a")
LISTS = ("sheets", "throws", "services")
SERVICE_LIST = Listing.of(SERVICES, ("date", "action", "due", "by", "what"))
RIG_HEADINGS: dict[str, tuple[str, ...]] = {
    "sheets": SHEET_LIST.heads,
    "throws": ("when", "way", "verdict", *(FIGURES[name].column for name in THROW_FIGURES), "signs"),
    "services": SERVICE_LIST.heads,
}
Row = tuple[str, list[Cell | str]]


def rig_rows(name: str, history: "RigView", trials: "list[LoggedTrial]") -> list[Row]:
    """Rows of one list, newest first, each with its id."""
    if name == "sheets":
        return [(one.state.name, SHEET_LIST.row(one)) for one in reversed(history.sheets)]
    if name == "throws":
        return [(one.id, _throw(one)) for one in trials]
    return [(one.id, SERVICE_LIST.row(entry_from(one))) for one in reversed(history.services)]


def _throw(logged: "LoggedTrial") -> list[Cell | str]:
    when = f"{logged.when:%Y-%m-%d %H:%M}" if logged.when else "-"
    if logged.judgement is None:
        return [when, logged.direction, Cell("not judged", QUIET), "", "", ""]
    judged = logged.judgement.assessment
    noticed = ", ".join(sign_text(sign) for sign in judged.signs if sign.level != "info")
    return [
        when,
        logged.direction,
        verdict_cell(judged.verdict),
        *(figure_text(name, getattr(judged.figures, name)) for name in THROW_FIGURES),
        noticed or Cell("-", QUIET),
    ]


SHEET_LISTED = Listing.of(
    THROWS,
    ("marked", "way", "travel_time_s", "run_current_a", "peak_run_current_a", "shown verdict", *SEEN),
)
SHEET_HEADINGS = tuple(head.partition(" ")[0] for head in SHEET_LISTED.heads)
"""Room for a word each."""


def sheet_rows(found: "SheetView", wide: bool) -> list[Row]:
    """One row a throw, with its id; ``wide``: figures with their uncertainty."""
    figure = measured_text if wide else short_figure
    return [(one.throw.id, SHEET_LISTED.row(one, figure)) for one in found.throws]


def marks_said(rows: list[tuple[str, list[Cell | str]]]) -> str:
    """What the marks in these rows mean; empty where there is none."""
    numbers = "".join(str(row[0]) for _, row in rows)
    return ", ".join(f"{mark} {word}" for mark, word in MARKS.items() if mark in numbers)


THROW, LOOK, SIGN, STOP, NOTHING = "throw", "look", "sign", "stop", "nothing"
STOP_SAID = (
    "STOP. No more throws. Keep the attachment on the ground, and take its weight off the pins before anything is moved. "
    "NEXT: the steps to clear the order. Enter"
)


@dataclass(frozen=True)
class Step:
    """One step."""

    what: str
    say: str
    direction: str = ""
    """Of a throw."""
    position: int = 0
    """Of the throw whose pins are to be looked at."""


def next_step(found: "SheetView", turned: bool = False, by_hand: bool = False) -> Step:
    """Pins before anything else, then the throws in turn, then the signature. What was left out isn't counted.

    ``turned``: the person wants the next throw the other way round; ``by_hand``: with stopwatch and clamp meter.
    """
    if found.state.state != OPEN:
        return Step(NOTHING, f"This sheet is {found.state.state}. The decision cannot be changed.")
    if stopped(found):
        return Step(STOP, STOP_SAID)
    if found.state.sheet.kind != BENCH:
        for one in found.trials:
            if (
                not one.left_out
                and one.direction == LOCK
                and not found.seen[one.id].at_anything
                # "not looked" four times is an answer: it isn't asked again and again
                and not found.seen[one.id].answered
            ):
                return Step(
                    LOOK,
                    f"NEXT: look at both pins after throw {one.position}, one at a time. Enter = record what you saw",
                    position=one.position,
                )
    asked = found.plan.throws_each_way
    counting = [one for one in found.trials if not one.left_out]
    done = {way: sum(one.direction == way for one in counting) for way in (LOCK, UNLOCK)}
    direction = _next_direction(found, done)
    if turned:
        direction = UNLOCK if direction == LOCK else LOCK
    if min(done.values()) >= asked and not turned:
        if found.state.sheet.kind == BENCH:
            return Step(
                SIGN,
                "All throws are done. A bench sheet cannot be accepted. Next: commission the rig on the machine.",
            )
        lacking = len(still_missing(found))
        if lacking:
            things = counted(lacking, "thing")
            return Step(
                SIGN,
                f"All throws are done. {things} still missing (M lists them). NEXT: accept or reject. Enter",
            )
        return Step(SIGN, "All throws are done. NEXT: accept or reject the sheet, and sign. Enter")
    return Step(
        THROW,
        f"NEXT: {direction} throw {done[direction] + 1} of {max(asked, done[direction] + 1)}{', by hand' * by_hand}. Enter = start",
        direction=direction,
    )


def stopped(found: "SheetView") -> bool:
    """Whether no throw is to follow: the rig went out of use after this sheet was planned.

    A sheet that was planned knowing all that holds the rig goes on: to look for the cause, or to commission it again. A
    bench sheet moves no pins.
    """
    status, kind = found.status, found.state.sheet.kind
    if status.level != DO_NOT_USE or kind == BENCH or found.state.state != OPEN:
        return False
    holding = {name for one in status.open if one.level == DO_NOT_USE for name in one.ids}
    return not holding <= set(found.plan.answers)


def _next_direction(found: "SheetView", done: dict[str, int]) -> str:
    """They take turns; when one way is done, what is left of the other."""
    asked = found.plan.throws_each_way
    last = found.trials[-1].direction if found.trials else UNLOCK
    turn = UNLOCK if last == LOCK else LOCK
    other = LOCK if turn == UNLOCK else UNLOCK
    return other if done[turn] >= asked > done[other] else turn
