"""PDF renderer and pages.

A document as PDF: selectable text in an embedded font, vector drawings, the same bytes each time.

Text and tables are set by reportlab. Each drawing leaves its place empty; the pages that matplotlib drew are then put
there as they are (form objects), so that lines stay lines.

Pages of the PDF papers: footers with "page x of y", and drawings put into the places that were left for them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

from throwbook.report.document import (
    Block,
    Bullets,
    Cautions,
    Document,
    Facts,
    Heading,
    PageBreak,
    Photos,
    Picture,
    Signatures,
    Table,
    Text,
)
from throwbook.report.pdf_layout import (
    CAUTION_EDGE,
    CAUTION_FILL,
    FONT,
    INK,
    QUIET,
    data_table,
    facts_table,
    marked_up,
    paper_size,
    paragraph_styles,
    register_fonts,
)


@dataclass
class Places:
    """Where each drawing goes: page index, left, bottom, width and height [pt]."""

    at: dict[str, tuple[int, float, float, float, float]] = field(default_factory=dict)


def place_flowable(key: str, width: float, height: float, places: Places) -> Any:
    """Room for a drawing [pt]; where it came to stand is written into ``places``."""
    from reportlab.platypus import Flowable

    class Place(Flowable):  # type: ignore[misc]
        """Empty room that remembers where it came to stand."""

        def wrap(self, *_: float) -> tuple[float, float]:
            return width, height

        def draw(self) -> None:
            left, bottom = self.canv.absolutePosition(0, 0)
            places.at[key] = (self.canv.getPageNumber() - 1, left, bottom, width, height)

    return Place()


def build(
    story: list[Any], document: Document, page: tuple[float, float], margin: float, size: float
) -> tuple[bytes, int]:
    """Lay the pages out; each says which report it belongs to and which page of how many it is. Gives file and pages."""
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    class Numbered(Canvas):  # type: ignore[misc]
        """Writes the footers when the number of pages is known."""

        def __init__(self, *given: Any, **more: Any) -> None:
            super().__init__(
                *given,
                **{
                    **more,
                    "invariant": 1,
                    "pageCompression": 1,
                    "initialFontName": FONT,
                    "lang": document.language,
                },
            )
            self._held: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._held.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, state in enumerate(self._held, 1):
                self.__dict__.update(state)
                self.setFont(FONT, size * 0.8)
                self.setFillColor(QUIET)
                self.drawString(margin, margin * 0.55, document.footer)
                self.drawRightString(page[0] - margin, margin * 0.55, f"page {number} of {len(self._held)}")
                super().showPage()
            super().save()

    file = BytesIO()
    template = BaseDocTemplate(
        file,
        pagesize=page,
        title=f"{document.title}, {document.subtitle}",
        author="",
        subject=document.number,
        creator="throwbook",
    )
    frame = Frame(margin, margin, page[0] - 2 * margin, page[1] - 2 * margin, 0, 0, 0, 0)
    template.addPageTemplates([PageTemplate(frames=[frame])])
    template.build(story, canvasmaker=Numbered)
    return file.getvalue(), int(template.page)


def page_sizes(drawn: bytes) -> list[tuple[float, float]]:
    """Width and height of each page [pt]."""
    from pypdf import PdfReader

    boxes = [page.mediabox for page in PdfReader(BytesIO(drawn)).pages]
    return [(float(box.width), float(box.height)) for box in boxes]


def with_drawings(written: bytes, drawn: bytes, keys: Sequence[str], places: Places) -> bytes:
    """Put each page of ``drawn`` where its place is, as a form object."""
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import (
        ArrayObject,
        DecodedStreamObject,
        DictionaryObject,
        NameObject,
        RectangleObject,
        StreamObject,
    )

    writer = PdfWriter(clone_from=PdfReader(BytesIO(written)))
    for number, (key, page) in enumerate(zip(keys, PdfReader(BytesIO(drawn)).pages, strict=True)):
        index, left, bottom, width, height = places.at[key]
        contents = page["/Contents"].get_object()
        assert isinstance(contents, StreamObject)
        form = contents.clone(writer)
        form[NameObject("/Type")] = NameObject("/XObject")
        form[NameObject("/Subtype")] = NameObject("/Form")
        form[NameObject("/BBox")] = RectangleObject(page.mediabox)
        form[NameObject("/Resources")] = page["/Resources"].clone(writer)
        name = f"/Drawing{number}"
        onto = writer.pages[index]
        resources = onto["/Resources"].get_object()
        assert isinstance(resources, DictionaryObject)
        forms = resources.setdefault(NameObject("/XObject"), DictionaryObject()).get_object()
        forms[NameObject(name)] = form.indirect_reference
        scale_x, scale_y = width / float(page.mediabox.width), height / float(page.mediabox.height)
        call = DecodedStreamObject()
        call.set_data(f"q {scale_x:.6f} 0 0 {scale_y:.6f} {left:.3f} {bottom:.3f} cm {name} Do Q".encode())
        held_already = onto.raw_get("/Contents")
        before = list(held_already) if isinstance(held_already, ArrayObject) else [held_already]
        onto[NameObject("/Contents")] = ArrayObject([*before, writer._add_object(call)])
    file = BytesIO()
    writer.write(file)
    return file.getvalue()


CARD_SIZES = {"a4": (14.0, 8.5), "letter": (14.0, 8.5), "pocket": (9.0, 5.5)}
"""Largest and smallest letters of a card [pt]."""
CARD_STEP = 0.5
SMALL_TABLE = 190.0
"""A table lower than this is never cut over two pages [pt]."""
FEWEST_TO_CUT = 7
"""Rows, heading included, of a table that can be cut: its first four stay together, and so do its last three."""
PHOTO_GAP, PHOTO_HEIGHT = 12.0, 170.0
"""Between two photographs, and the most of one [pt]."""
DrawPages = Callable[[Sequence[str]], bytes]
"""Keys of drawings to a PDF with one page for each."""


def to_pdf(
    document: Document, paper: str, draw_pages: DrawPages | None = None, body_size: float | None = None
) -> bytes:
    """The whole file. ``draw_pages`` draws the pictures; a document without any needs none.

    ``body_size`` [pt] replaces the paper's own size of letters. Raises InputError for a paper that isn't ``a4``,
    ``letter`` or ``pocket``.
    """
    return _set(document, paper, draw_pages, body_size)[0]


def _set(
    document: Document, paper: str, draw_pages: DrawPages | None, body_size: float | None
) -> tuple[bytes, int]:
    """The file and how many pages it has."""
    width, height, margin, usual = paper_size(paper)
    size = usual if body_size is None else body_size
    register_fonts()
    drawn = draw_pages(document.drawings) if document.drawings and draw_pages is not None else None
    sizes = page_sizes(drawn) if drawn is not None else []
    places = Places()
    styles = paragraph_styles(size)
    setter = _Setter(styles, width - 2 * margin, dict(zip(document.drawings, sizes, strict=False)), places)
    story = setter.title(document)
    for index, block in enumerate(document.blocks):
        story += setter.block(block, document.blocks[index + 1 : index + 3])
    story += setter.end(document)
    written, pages = build(story, document, (width, height), margin, size)
    return (written if drawn is None else with_drawings(written, drawn, document.drawings, places)), pages


def to_one_page(document: Document, paper: str) -> bytes:
    """As large as it can be set on a single page; smaller than the smallest size it runs on to a second one."""
    largest, smallest = CARD_SIZES[paper]
    size = largest
    while True:
        written, pages = _set(document, paper, None, size)
        if pages == 1 or size <= smallest:
            return written
        size -= CARD_STEP


class _Setter:
    """Turns blocks into reportlab's flowables."""

    def __init__(
        self, styles: dict[str, Any], width: float, sizes: dict[str, tuple[float, float]], places: Places
    ) -> None:
        self.styles, self.width, self.sizes, self.places = styles, width, sizes, places
        self._tables: dict[int, Any] = {}

    def title(self, document: Document) -> list[Any]:
        """Title, subtitle, number."""
        return [
            self._paragraph(document.title, "title"),
            self._paragraph(document.subtitle, "subtitle"),
            self._paragraph(f"No. {document.number}", "quiet"),
        ]

    def end(self, document: Document) -> list[Any]:
        """The end mark."""
        return [self._paragraph(document.end_mark, "end")]

    def block(self, block: Block, following: Sequence[Block]) -> list[Any]:
        """One block; with room asked for where it must not stand apart from the next two."""
        from reportlab.platypus import CondPageBreak
        from reportlab.platypus import PageBreak as NewPage

        match block:
            case Heading(text, level):
                return [CondPageBreak(self._room(block, following)), self._paragraph(text, f"h{level}")]
            case Text(text, look):
                return [self._paragraph(text, look)]
            case Bullets(items, mark):
                return self._bullets(items, mark)
            case Cautions():
                return [self._cautions(block)]
            case Facts() | Table():
                return [CondPageBreak(self._room(block, ())), *self._captioned(block)]
            case Picture():
                return [self._picture(block)]
            case Photos():
                return [self._photos(block)]
            case Signatures(lines):
                return [self._signatures(lines)]
            case PageBreak():
                return [NewPage()]

    def _paragraph(self, text: str, look: str) -> Any:
        from reportlab.platypus import Paragraph

        return Paragraph(marked_up(text), self.styles[look])

    def _room(self, block: Block, following: Sequence[Block]) -> float:
        """What a block needs below it so as not to stand alone or be cut where it shouldn't be [pt]."""
        line = float(self.styles[""].leading)
        match block:
            case Heading():
                return 4.0 * line + (self._room(following[0], following[1:]) if following else 0.0)
            case Picture(key):
                return self._picture_height(key) + 3 * line
            case Facts() | Table():
                heights = self._table(block)._rowHeights
                whole = sum(heights)
                uncut = whole < SMALL_TABLE or len(heights) < FEWEST_TO_CUT
                return 2.5 * line + float(whole if uncut else sum(heights[:4]))
            case Signatures():
                return 9.0 * line
            case _:
                return 3.0 * line

    def _bullets(self, items: tuple[str, ...], mark: str = "\u2022") -> list[Any]:
        from reportlab.platypus import Paragraph

        look = self.styles[""].clone(
            "bullet",
            leftIndent=1.5 * self.styles[""].fontSize,
            bulletIndent=1,
            bulletFontName=FONT,
            bulletFontSize=self.styles[""].fontSize,
            spaceBefore=1,
        )
        return [Paragraph(marked_up(item), look, bulletText=mark) for item in items]

    def _cautions(self, cautions: Cautions) -> Any:
        from reportlab.platypus import Table as Drawn

        body = [self._paragraph(cautions.title, "strong"), *self._bullets(cautions.items)]
        drawn = Drawn([[body]], colWidths=[self.width], spaceBefore=4, spaceAfter=4)
        drawn.setStyle(
            [
                ("FONTNAME", (0, 0), (-1, -1), FONT),
                ("BACKGROUND", (0, 0), (-1, -1), CAUTION_FILL),
                ("LINEBEFORE", (0, 0), (0, -1), 3.5, CAUTION_EDGE),
                ("LEFTPADDING", (0, 0), (-1, -1), 8),
            ]
        )
        return drawn

    def _captioned(self, block: Facts | Table) -> list[Any]:
        return [self._paragraph(block.caption, "caption"), self._table(block)]

    def _table(self, block: Facts | Table) -> Any:
        """The table, made once; it knows the heights of its rows."""
        if id(block) not in self._tables:
            if isinstance(block, Facts):
                made = facts_table(block, self.width, self.styles)
            else:
                made = data_table(block, self.width, self.styles)
            made.wrap(self.width, 1e6)
            self._tables[id(block)] = made
        return self._tables[id(block)]

    def _picture_height(self, key: str) -> float:
        width, height = self.sizes[key]
        return height * self.width / width

    def _picture(self, picture: Picture) -> Any:
        from reportlab.platypus import KeepTogether

        place = place_flowable(picture.key, self.width, self._picture_height(picture.key), self.places)
        return KeepTogether([self._paragraph(picture.caption, "caption"), place])

    def _photos(self, photos: Photos) -> Any:
        """Two beside each other, or one in the place of two; never cut over two pages."""
        from reportlab.platypus import Image, Spacer
        from reportlab.platypus import Table as Drawn

        width = (self.width - PHOTO_GAP) / 2.0
        columns = []
        for one in photos.items:
            scale = min((width - PHOTO_GAP) / one.width, PHOTO_HEIGHT / one.height)
            image = Image(BytesIO(one.jpeg), one.width * scale, one.height * scale, hAlign="LEFT")
            columns.append([image, Spacer(1, 3), self._paragraph(one.caption, "quiet")])
        drawn = Drawn([columns], colWidths=[width] * len(columns), hAlign="LEFT", spaceBefore=4)
        drawn.setStyle(
            [
                ("NOSPLIT", (0, 0), (-1, -1)),
                ("FONTNAME", (0, 0), (-1, -1), FONT),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ]
        )
        return drawn

    def _signatures(self, lines: tuple[tuple[str, str], ...]) -> Any:
        from reportlab.platypus import Table as Drawn

        gap = 14.0
        each = (self.width - gap * (len(lines) - 1)) / len(lines)
        cells, widths = [], []
        for index, (role, name) in enumerate(lines):
            cells += ([""] if index else []) + [
                [
                    self._paragraph(role, "quiet"),
                    self._paragraph(name or "\u00a0", ""),
                    self._paragraph("Date:", "quiet"),
                ]
            ]
            widths += ([gap] if index else []) + [each]
        drawn = Drawn([[""] * len(cells), cells], colWidths=widths, rowHeights=[34, None])
        drawn.setStyle(
            [
                ("NOSPLIT", (0, 0), (-1, -1)),
                ("FONTNAME", (0, 0), (-1, -1), FONT),
                *(("LINEABOVE", (2 * i, 1), (2 * i, 1), 0.8, INK) for i in range(len(lines))),
            ]
        )
        return drawn
