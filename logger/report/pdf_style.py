"""Fonts, sizes and rules of the PDF papers. The font is the one that ships with matplotlib, embedded as a subset."""

from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from logger.core.quantities.plain import printable
from logger.errors import InputError

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
        raise InputError(f"no paper is called {name!r}", "--paper", f"One of: {', '.join(PAPERS)}.")
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
