"""A document as one HTML file that needs nothing else: no script, no font, no picture from outside."""

import re
from collections.abc import Callable
from html import escape as escaped
from itertools import count

from logger.core.quantities.plain import printable
from logger.report.document import (
    Block,
    Bullets,
    Cautions,
    Document,
    Facts,
    Heading,
    PageBreak,
    Picture,
    Signatures,
    Table,
    Text,
)
from logger.report.html_style import CSS, INKS

_WHOLE = re.compile(r"\d{4}-\d\d-\d\d|(at (most|least) )?(\d+: )?[-+]?[\d.]+( ± [\d.]+)?( [^\s\d]+)?")
"""Cells that are never broken over two lines: a day, a figure with its unit."""
Draw = Callable[[str], str]
"""Key of a drawing to its SVG."""


def escape(text: str) -> str:
    """Text as HTML shows it: nothing in it is read as markup, no control or turning letter gets through."""
    return escaped(printable(text))


def to_html(document: Document, draw: Draw) -> str:
    """The whole file. ``draw`` gives the SVG of each ``Picture``."""
    numbers = count(1)
    body = "\n".join(_block(block, draw, numbers) for block in document.blocks)
    title = f"{document.title}, {document.subtitle}"
    return f"""<!DOCTYPE html>
<html lang="{document.language}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(title)}</title>
<style>
{CSS}
</style>
</head>
<body>
<main>
<header>
<h1>{escape(document.title)}</h1>
<p class="subtitle">{escape(document.subtitle)}</p>
<p class="number">No. {escape(document.number)}</p>
</header>
{body}
<p class="end">{escape(document.end_mark)}</p>
</main>
</body>
</html>
"""


def _block(block: Block, draw: Draw, numbers: "count[int]") -> str:
    match block:
        case Heading(text, level):
            return f"<h{level}>{escape(text)}</h{level}>"
        case Text(text, look):
            kind = f' class="{look}"' if look else ""
            return f"<p{kind}>{escape(text)}</p>"
        case Bullets(items, mark):
            return _list(items, mark)
        case Cautions(title, items):
            return f'<aside class="caution" aria-label="{escape(title)}"><p><strong>{escape(title)}</strong></p>{_list(items)}</aside>'
        case Facts():
            return _facts(block)
        case Table():
            return _table(block)
        case Picture(key, caption, alt):
            return _picture(draw(key), caption, alt, next(numbers))
        case Signatures(lines):
            return _signatures(lines)
        case PageBreak():
            return '<div class="break"></div>'


def _list(items: tuple[str, ...], mark: str = "\u2022") -> str:
    return (
        f"<ul style=\"list-style-type: '{mark} '\">"
        + "".join(f"<li>{escape(item)}</li>" for item in items)
        + "</ul>"
    )


def _facts(facts: Facts) -> str:
    kind = "facts pencil" if facts.pencil else "facts"
    rows = "\n".join(
        f'<tr><th scope="row">{escape(name)}</th><td>{escape(value)}</td></tr>' for name, value in facts.rows
    )
    return _wide(
        f'<table class="{kind}"><caption>{escape(facts.caption)}</caption>\n<tbody>{rows}</tbody></table>',
        facts.caption,
    )


def _table(table: Table) -> str:
    columns = len(table.headings)
    asked = (("pencil", table.pencil), ("big", table.big), ("many", columns > 5), ("some", 3 < columns <= 5))
    kind = " ".join(name for name, on in asked if on)
    heads = "".join(
        f'<th scope="col"{_side(table, index)}>{escape(text)}</th>'
        for index, text in enumerate(table.headings)
    )
    rows = "\n".join(f"<tr>{_cells(table, row)}</tr>" for row in table.rows)
    of_kind = f' class="{kind}"' if kind else ""
    inner = (
        f"<table{of_kind}><caption>{escape(table.caption)}</caption>\n<thead><tr>{heads}</tr></thead>\n"
        f"<tbody>{rows}</tbody></table>"
    )
    return _wide(inner, table.caption)


def _cells(table: Table, row: tuple[str, ...]) -> str:
    cells = []
    for index, text in enumerate(row):
        if index == 0:
            cells.append(f'<th scope="row"{_side(table, index)}>{escape(text)}</th>')
        else:
            side = ' class="day"' if _WHOLE.fullmatch(text) else _side(table, index)
            cells.append(f"<td{side}>{escape(text)}</td>")
    return "".join(cells)


def _side(table: Table, index: int) -> str:
    return ' class="right"' if index in table.right else ""


def _wide(inner: str, name: str) -> str:
    """Something that may be wider than a phone: it scrolls by itself, by keyboard too."""
    return f'<div class="wide" role="region" tabindex="0" aria-label="{escape(name)}">{inner}</div>'


def _picture(svg: str, caption: str, alt: str, number: int) -> str:
    drawn = _inline(svg, alt, f"d{number}-")
    return f"<figure>{_wide(drawn, caption)}<figcaption>{escape(caption)}</figcaption></figure>"


def _inline(svg: str, alt: str, prefix: str) -> str:
    """The drawing fit to stand in a page: ids of its own, inks that follow light and dark, a text for who can't see."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\bid="', f'id="{prefix}', svg)
    svg = re.sub(r'(xlink:href="#|url\(#)', rf"\g<1>{prefix}", svg)
    for ink, name in INKS.items():
        svg = re.sub(rf"(fill|stroke): {ink}", rf"\1: var(--{name})", svg, flags=re.IGNORECASE)
    svg = svg.replace("<g ", "<g fill='var(--ink)' ", 1)
    return svg.replace("<svg ", f'<svg role="img" aria-label="{escape(alt)}" class="drawing" ', 1)


def _signatures(lines: tuple[tuple[str, str], ...]) -> str:
    boxes = "".join(
        f'<div><p class="rule"></p><p>{escape(role)}{": " + escape(name) if name else ""}</p><p>Date</p></div>'
        for role, name in lines
    )
    return f'<div class="signatures">{boxes}</div>'
