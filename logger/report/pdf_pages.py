"""Pages of the PDF papers: footers with "page x of y", and drawings put into the places that were left for them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

from logger.report.document import Document
from logger.report.pdf_style import FONT, QUIET


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

    held = BytesIO()
    template = BaseDocTemplate(
        held,
        pagesize=page,
        title=f"{document.title}, {document.subtitle}",
        author="",
        subject=document.number,
        creator="throwbook",
    )
    frame = Frame(margin, margin, page[0] - 2 * margin, page[1] - 2 * margin, 0, 0, 0, 0)
    template.addPageTemplates([PageTemplate(frames=[frame])])
    template.build(story, canvasmaker=Numbered)
    return held.getvalue(), int(template.page)


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
    held = BytesIO()
    writer.write(held)
    return held.getvalue()
