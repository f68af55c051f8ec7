"""How far a sheet is from being accepted, in words. Nothing of Textual."""

from typing import TYPE_CHECKING

from logger.core.assessment import WATCH
from logger.core.records.records import OPEN
from tui.present import GOOD, QUIET, STRONG, VERDICTS, WARN, Cell, sentence

if TYPE_CHECKING:
    from logger.jobs.sheet_view import SheetView


def acceptance_cells(found: "SheetView", signing: bool = False) -> list[Cell | str]:
    """The sheet's verdict, what is missing, what it can't speak for."""
    judged = found.acceptance
    missing = [text for text in judged.missing if not (signing and text == "nobody has signed")]
    word, _, tone = VERDICTS[judged.verdict]
    so_far = " so far" if found.state.state == OPEN else ""
    cells: list[Cell | str] = [Cell(f"Verdict of the sheet{so_far}: {word}.", tone), *watched_cells(found)]
    cells += [Cell(f"No better because {sentence(text)}", WARN) for text in judged.because]
    cells += [Cell(f"Doubtful: {text}.", WARN) for text in judged.doubts]
    if missing:
        cells.append(Cell(f"Still missing ({len(missing)}):", STRONG))
        cells += [Cell(f"- {text}", WARN) for text in missing]
    else:
        cells.append(Cell("Nothing else is missing.", GOOD))
    if judged.claims_lost:
        cells.append(Cell(f"Not recorded, so it doesn't speak for: {'; '.join(judged.claims_lost)}.", QUIET))
    return cells


def watched_cells(found: "SheetView") -> list[Cell]:
    """What its throws gave to watch, and which of them: whoever signs has to know."""
    throws: dict[str, list[str]] = {}
    for one in found.trials:
        for name in {sign.sign for sign in one.assessment.signs if sign.level == WATCH}:
            throws.setdefault(name, []).append(str(one.position))
    said = [f"{name.replace('-', ' ')} (throw {', '.join(at)})" for name, at in sorted(throws.items())]
    return [Cell(f"To watch: {'; '.join(said)}.", WARN)] if said else []
