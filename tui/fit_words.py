"""Whether the actuator suits the mechanism, as lines. Nothing of Textual."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from logger.core.assessment import FAIL
from logger.core.fitting.fit import CAUTION_AT
from tui.present import GOOD, QUIET, STRONG, VERDICTS, WARN, Cell, sentence

if TYPE_CHECKING:
    from logger.jobs.rig_setup import SetupCheck

WIRING = "[wiring]: conductor, length_one_way, fuse"
WIRING_ASKED = "conductor, length one way and fuse, below"


def fit_cells(check: "SetupCheck", faulty: Any) -> list[Cell | str]:
    """Short while values are missing; the whole judgement once they are there."""
    if check.fit is None:
        where = f"{faulty.spec.asked}: {faulty.checked.say}" if faulty is not None else check.lacking
        return [
            Cell("Does the actuator suit the mechanism?", STRONG),
            Cell("It is judged as soon as the needed values are there."),
            Cell(f"Next: {where}", WARN),
        ]
    found = check.fit
    word, _, tone = VERDICTS[found.verdict]
    cells: list[Cell | str] = [Cell(f"Does the actuator suit the mechanism? {word}", tone)]
    for problem in found.problems:
        cells.append(
            Cell(f"{'WRONG' if problem.grave else 'odd'}: {problem.key} {problem.what}. {problem.do}", WARN)
        )
    worst_first = sorted(
        found.findings, key=lambda one: {"fail": 0, "undecided": 1, "watch": 2}.get(one.verdict, 3)
    )
    for finding in worst_first:
        word, _, tone = VERDICTS[finding.verdict]
        cells.append(Cell(f"{word}: {finding.about}", tone if finding.verdict != "pass" else GOOD))
        cells.append(Cell(f"  {sentence(finding.says)}"))
        if finding.do:
            cells.append(Cell(f"  -> {finding.do}"))
        if finding.about in CAUTION_AT:
            cells.append(Cell(f"  {CAUTION_AT[finding.about]}", WARN))
    for key, leaves in found.missing:
        cells.append(Cell(f"not given, {key}: unknown is {leaves}", QUIET))
    cells += [Cell(f"no data sheet tells: {text}", QUIET) for text in found.unknown]
    return cells


def in_form_words(cells: list[Cell | str], asked: Mapping[str, str]) -> list[Cell | str]:
    """Keys of a rig file (``lock.excess_goes``) as the form calls them."""
    said = []
    for cell in cells:
        text, tone = cell if isinstance(cell, Cell) else (cell, "")
        text = text.replace(WIRING, WIRING_ASKED)
        for key, words in asked.items():
            text = text.replace(key, f"'{words}'")
        said.append(Cell(text, tone))
    return list(said)


def against_fit(check: "SetupCheck | None") -> str:
    """What of the judgement failed, in one line; empty: nothing."""
    if check is None or check.fit is None:
        return ""
    return ", ".join(one.about for one in check.fit.findings if one.verdict == FAIL)
