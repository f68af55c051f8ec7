"""PDF fonts and tables.

Fonts, sizes and rules of the PDF papers. The font is the one that ships with matplotlib, embedded as a subset.

Tables of the PDF papers: columns as wide as their words ask for, rows never cut, headings on every page.
"""

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from throwbook.core.quantities.text import printable
from throwbook.errors import Field, InputError
from throwbook.report.document import Facts, Table

FONT = "Throwbook"
BOLD = "Throwbook-Bold"
FILES = {FONT: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
MM = 72.0 / 25.4

# paper: width, height [pt]; margin [pt]; body size [pt]
PAPERS: dict[str, tuple[float, float, float, float]] = {
    "a4": (210 * MM, 297 * MM, 17 * MM, 8.5),
    "letter": (8.5 * 72, 11 * 72, 17 * MM, 8.5),
    "pocket": (105 * MM, 148 * MM, 7 * MM, 7.0),
}
INK = "#000000"
QUIET = "#595959"
LINE = "#8c8c8c"
CAUTION_FILL = "#fff3d6"
CAUTION_EDGE = "#8a5a00"


def paper_size(name: str) -> tuple[float, float, float, float]:
    """Width, height, margin and body size [pt]. Raises InputError for a paper we don't know."""
    if name not in PAPERS:
        raise InputError(f"no paper is called {name!r}", Field("paper"), f"One of: {', '.join(PAPERS)}.")
    return PAPERS[name]


def marked_up(text: str) -> str:
    """Text as a paragraph takes it: nothing in it is read as markup, no control or turning letter gets through."""
    return escape(printable(text))


@cache
def register_fonts() -> None:
    """Make both faces known to the PDF library."""
    from importlib.util import find_spec

    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    found = find_spec("matplotlib")  # only found, not loaded: the forms have no drawings
    assert found is not None
    assert found.origin is not None
    folder = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
    for name, file in FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)


def paragraph_styles(size: float) -> dict[str, Any]:
    """Every style of paragraph, for a body size [pt]."""
    from reportlab.lib.styles import ParagraphStyle

    body = ParagraphStyle(
        "body",
        fontName=FONT,
        fontSize=size,
        leading=size * 1.38,
        textColor=INK,
        splitLongWords=1,
        spaceBefore=2,
    )

    def style(name: str, letters: float = 1.0, line: float = 1.38, **more: Any) -> Any:
        """Size of its letters and its line, in body sizes; what isn't given is as in the body."""
        return ParagraphStyle(name, body, fontSize=size * letters, leading=size * line, **more)

    def heading(name: str, letters: float, line: float, before: float, after: float) -> Any:
        """Bold, with room before and after it, in body sizes."""
        return style(name, letters, line, fontName=BOLD, spaceBefore=size * before, spaceAfter=size * after)

    styles = (
        style("strong", fontName=BOLD, spaceAfter=3),
        style("quiet", 0.92, 1.25, textColor=QUIET),
        style("title", 1.9, 2.2, fontName=BOLD),
        style("subtitle", 1.2, 1.6),
        heading("h2", 1.4, 1.8, 1.5, 0.3),
        heading("h3", 1.1, 1.5, 0.8, 0.2),
        heading("caption", 0.94, 1.3, 0.7, 0.2),
        style("cell", 0.86, 1.1, spaceBefore=0),
        style("head", 0.82, 1.05, spaceBefore=0, fontName=BOLD),
        style("end", fontName=BOLD, alignment=1, spaceBefore=size * 2),
    )
    return {"": body} | {one.name: one for one in styles}


PAD = 2.4
"""On either side of a cell's text [pt]."""
ABOVE, BELOW = 1.6, 2.2
"""The same above and below it [pt]."""
PENCIL_ROW = 9.0 * MM
PENCIL_COLUMN = 12.5 * MM
"""High and wide enough to write in with gloves half off [pt]."""


def column_widths(natural: Sequence[float], least: Sequence[float], available: float) -> list[float]:
    """Share out ``available`` [pt]: what every column asks for if it fits, else the widest ones give way.

    ``least`` is the width of each column's longest word: below it a word would be broken, so it goes below only when
    nothing else is left.

    >>> column_widths([10, 20], [5, 5], 60)
    [20.0, 40.0]
    >>> column_widths([10, 100], [10, 20], 60)
    [10.0, 50.0]
    """
    total = sum(natural)
    if total <= available:
        return [available * one / total for one in natural]
    if sum(least) >= available:
        return [available * one / sum(least) for one in least]
    low, high = 0.0, max(natural)
    for _ in range(50):  # the widest columns are cut to one common width
        middle = (low + high) / 2.0
        used = sum(max(floor, min(want, middle)) for want, floor in zip(natural, least, strict=True))
        low, high = (middle, high) if used <= available else (low, middle)
    cut = [max(floor, min(want, low)) for want, floor in zip(natural, least, strict=True)]
    return [round(float(one), 3) for one in cut]


def facts_table(facts: Facts, width: float, styles: dict[str, Any]) -> Any:
    """Names and values, two columns."""
    from reportlab.platypus import Paragraph
    from reportlab.platypus import Table as Drawn

    cell = styles[""] if facts.pencil else styles["cell"]
    label = cell.clone("label", textColor=INK if facts.pencil else QUIET)
    rows = [
        [Paragraph(marked_up(name), label), Paragraph(marked_up(value), cell)] for name, value in facts.rows
    ]
    names = max(_text_width(name, FONT, cell.fontSize) for name, _ in facts.rows) + 2 * PAD + 6
    left = min(names, width * 0.42)
    widths = [left, width - left]
    heights = _pencil_heights(rows, widths) if facts.pencil else None
    drawn = Drawn(rows, colWidths=widths, rowHeights=heights, hAlign="LEFT")
    drawn.setStyle(_rules(len(rows), facts.pencil, headed=False))
    return drawn


SHRINK = (1.0, 0.92, 0.85)
"""A table whose words don't fit is set smaller, down to this."""


def data_table(table: Table, width: float, styles: dict[str, Any]) -> Any:
    """Rows under headings that stand again on every page."""
    from reportlab.platypus import Table as Drawn

    numbers = set(table.right)
    for shrink in SHRINK:
        cell, head = _looks(table, styles, shrink)
        natural, least = _wanted_widths(table, cell, head)
        if sum(least) <= width:
            break
    if table.pencil:  # the last column is for notes
        natural[-1] = max(natural[-1], width - sum(natural[:-1]))
    widths = column_widths(natural, least, width)
    body = [_row(row, widths, cell, numbers) for row in table.rows]
    rows = [_row(table.headings, widths, head, numbers), *body]
    heights = [None, *_pencil_heights(body, widths)] if table.pencil else None
    drawn = Drawn(rows, colWidths=widths, rowHeights=heights, repeatRows=1, splitInRow=0)
    drawn.setStyle(_rules(len(rows), table.pencil, headed=True, numbers=table.right, cell=cell, head=head))
    return drawn


def _pencil_heights(rows: Sequence[Sequence[Any]], widths: Sequence[float]) -> list[float]:
    """Room to write in each row, and for all of what is printed in it [pt]."""
    heights = []
    for row in rows:
        printed = [
            cell.wrap(width - 2 * PAD, 1e6)[1]
            for cell, width in zip(row, widths, strict=True)
            if not isinstance(cell, str)
        ]
        heights.append(max([PENCIL_ROW, *(height + ABOVE + BELOW for height in printed)]))
    return heights


def _looks(table: Table, styles: dict[str, Any], shrink: float) -> tuple[Any, Any]:
    cell, head = styles["cell"], styles["head"]
    size = shrink * (1.35 if table.big else 1.15 if table.pencil else 1.0)
    if size == 1.0:
        return cell, head
    bigger, head = (
        one.clone("sized", fontSize=one.fontSize * size, leading=one.leading * size) for one in (cell, head)
    )
    return bigger, head


def _wanted_widths(table: Table, cell: Any, head: Any) -> tuple[list[float], list[float]]:
    """For each column the width that needs no wrapping, and that of its longest word; numbers are never wrapped."""
    natural, least = [], []
    for index, heading in enumerate(table.headings):
        texts = [row[index] for row in table.rows]
        longest = max((_text_width(text, cell.fontName, cell.fontSize) for text in texts), default=0.0)
        words = max((_longest_word(text, cell.fontName, cell.fontSize) for text in texts), default=0.0)
        heading_word = _longest_word(heading, head.fontName, head.fontSize)
        pencil = PENCIL_COLUMN if table.pencil and set(texts) <= {"", "-"} else 0.0
        natural.append(max(longest, heading_word, 8.0, pencil) + 2 * PAD + 1)
        least.append(natural[-1] if index in table.right else max(words, heading_word, 8.0) + 2 * PAD + 1)
    return natural, least


def _row(texts: Sequence[str], widths: Sequence[float], look: Any, numbers: set[int]) -> list[Any]:
    """Short texts as they are, longer ones as paragraphs that wrap (setting a paragraph takes far longer)."""
    from reportlab.platypus import Paragraph

    right = look.clone("right", alignment=2)
    cells: list[Any] = []
    for index, (text, width) in enumerate(zip(texts, widths, strict=True)):
        if _text_width(text, look.fontName, look.fontSize) + 2 * PAD <= width:
            cells.append(printable(text))
        else:
            cells.append(Paragraph(marked_up(text), right if index in numbers else look))
    return cells


def _rules(
    rows: int, pencil: bool, headed: bool, numbers: Sequence[int] = (), cell: Any = None, head: Any = None
) -> list[Any]:
    rules: list[Any] = [
        ("FONTNAME", (0, 0), (-1, -1), FONT),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE" if pencil else "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), PAD),
        ("RIGHTPADDING", (0, 0), (-1, -1), PAD),
        ("TOPPADDING", (0, 0), (-1, -1), ABOVE),
        ("BOTTOMPADDING", (0, 0), (-1, -1), BELOW),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, LINE),
        # No page begins or ends with a single row.
        ("NOSPLIT", (0, 0), (-1, min(3, rows - 1))),
        ("NOSPLIT", (0, max(0, rows - 3)), (-1, -1)),
    ]
    if pencil:
        rules.append(("GRID", (0, 0), (-1, -1), 0.6, INK))
    if headed:
        rules += [
            ("FONT", (0, 0), (-1, 0), head.fontName, head.fontSize, head.leading),
            ("FONT", (0, 1), (-1, -1), cell.fontName, cell.fontSize, cell.leading),
            ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
            ("LINEBELOW", (0, 0), (-1, 0), 1.0, INK),
        ]
        rules += [("ALIGN", (index, 0), (index, -1), "RIGHT") for index in numbers]
    return rules


def _text_width(text: str, font: str, size: float) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, font, size))


def _longest_word(text: str, font: str, size: float) -> float:
    return max((_text_width(word, font, size) for word in text.split()), default=0.0)
