"""A paper as a list of blocks: what it says, not how it looks.

Content makes documents, ``html`` and ``pdf`` set them. So both say the same, word for word.
"""

from dataclasses import dataclass, field, replace
from datetime import date
from hashlib import sha256

CAUTION = "caution"
QUIET = "quiet"
STRONG = "strong"
PLAIN = ""


@dataclass(frozen=True)
class Heading:
    """A section's title."""

    text: str
    level: int = 2
    """2 for a section, 3 inside one; 1 is the document's own title."""


@dataclass(frozen=True)
class Text:
    """A paragraph."""

    text: str
    style: str = PLAIN
    """``""``, ``quiet``, ``strong``."""


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    items: tuple[str, ...]
    mark: str = "\u2022"
    """What stands before each."""


@dataclass(frozen=True)
class Cautions:
    """Sentences that stand out, because somebody could be hurt."""

    title: str
    items: tuple[str, ...]


@dataclass(frozen=True)
class Facts:
    """Names and their values; an empty value is a box to write in."""

    rows: tuple[tuple[str, str], ...]
    caption: str
    pencil: bool = False
    """Rows high enough for a pencil."""


@dataclass(frozen=True)
class Table:
    """Rows under headings; the first column names its row."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str
    right: tuple[int, ...] = ()
    """Indices of the columns of numbers."""
    pencil: bool = False
    """Rows high enough for a pencil."""
    big: bool = False
    """Set larger, to be read at arm's length."""


@dataclass(frozen=True)
class Picture:
    """A drawing, by its key in ``Document.drawings``."""

    key: str
    caption: str
    alt: str
    """What the drawing shows, for who can't see it."""


@dataclass(frozen=True)
class Photo:
    """A photograph as it is printed."""

    jpeg: bytes = field(repr=False)
    width: int
    height: int
    """Points; only their proportion counts."""
    caption: str
    alt: str
    """What it is, for who can't see it."""


@dataclass(frozen=True)
class Photos:
    """Photographs beside each other, at most two."""

    items: tuple[Photo, ...]


@dataclass(frozen=True)
class Signatures:
    """Lines to sign on; a name that is known is printed below its line."""

    lines: tuple[tuple[str, str], ...]
    """Role and name."""


@dataclass(frozen=True)
class PageBreak:
    """What follows starts on a new page."""


Block = Heading | Text | Bullets | Cautions | Facts | Table | Picture | Photos | Signatures | PageBreak


@dataclass(frozen=True)
class Document:
    """One paper."""

    title: str
    subtitle: str
    number: str
    """Unique: drawn from what the paper says."""
    blocks: tuple[Block, ...]
    end_mark: str
    footer: str
    """What stands beside the page number on each page."""
    language: str = "en"
    drawings: tuple[str, ...] = field(default=())
    """Keys of the drawings, in order of appearance."""


def numbered(
    draft: Document, stem: str, issued: date, drawn_from: str = "", practice: bool = False
) -> Document:
    """The paper with its number: ``stem``, day of issue, eight digits drawn from its words and ``drawn_from``.

    The number is put into end mark and footer where ``{number}`` stands. A practice paper says so in its title.
    """
    if practice:
        draft = replace(draft, title=f"Practice, no machine. {draft.title}")
    digest = sha256(f"{drawn_from}{words(draft)}".encode()).hexdigest()
    number = f"{stem}-{issued:%Y%m%d}-{digest[:8]}"
    end_mark, footer = (text.replace("{number}", number) for text in (draft.end_mark, draft.footer))
    return replace(draft, number=number, end_mark=end_mark, footer=footer)


def words(document: Document) -> str:
    """Everything a document says, one string a line: what a number is drawn from and tests look into."""
    said = [document.title, document.subtitle]
    for block in document.blocks:
        match block:
            case Heading(text) | Text(text):
                said.append(text)
            case Bullets(items):
                said += items
            case Cautions(title, items):
                said += [title, *items]
            case Facts(rows, caption):
                said += [caption, *(f"{name}: {value}" for name, value in rows)]
            case Table(headings, rows, caption):
                said += [caption, " | ".join(headings), *(" | ".join(row) for row in rows)]
            case Picture(_, caption, alt):
                said += [caption, alt]
            case Photos(photos):
                said += [text for one in photos for text in (one.caption, one.alt)]
            case Signatures(lines):
                said += [f"{role}: {name}" for role, name in lines]
    return "\n".join(said)
