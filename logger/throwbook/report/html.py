"""A document as one HTML file that needs nothing else: no script, no font, no picture from outside.

Light, dark, on a phone, in print: every pair of colours has a contrast of 4.5 or more.
"""

import re
from base64 import b64encode
from collections.abc import Callable
from html import escape as escaped
from itertools import count

from throwbook.core.quantities.text import printable
from throwbook.report import chart_style
from throwbook.report.document import (
    Block,
    Bullets,
    Cautions,
    Document,
    Facts,
    Heading,
    PageBreak,
    Photo,
    Photos,
    Picture,
    Signatures,
    Table,
    Text,
)

# ink of a drawing: the page's variable that stands for it
INKS: dict[str, str] = {
    chart_style.BLACK: "ink",
    chart_style.GREY: "quiet",
    chart_style.LIGHT_GREY: "band",
    chart_style.BLUE: "second",
    chart_style.VERMILLION: "limit",
    chart_style.GREEN: "expected",
    "#ffffff": "paper",
    "#e6e6e6": "grid",
}
CSS = """:root {
  color-scheme: light dark;
  --paper: #ffffff; --ink: #1a1a1a; --quiet: #595959; --line: #8c8c8c; --grid: #e6e6e6; --band: #d0d0d0;
  --second: #005a9c; --limit: #a84300; --expected: #00694d; --caution: #fff3d6; --edge: #8a5a00;
}
@media (prefers-color-scheme: dark) {
  :root {
    --paper: #161616; --ink: #ececec; --quiet: #b0b0b0; --line: #7d7d7d; --grid: #333333; --band: #4a4a4a;
    --second: #7cc4ff; --limit: #ff9d5c; --expected: #5fd3ae; --caution: #33270d; --edge: #e0a63a;
  }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.5 "DejaVu Sans", system-ui, sans-serif; }
main { max-width: 70rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 0.5rem 0 0; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 0.6rem; border-bottom: 2px solid var(--ink); }
h3 { font-size: 1.05rem; margin: 1.4rem 0 0.4rem; }
.subtitle { margin: 0; font-size: 1.1rem; }
.number, .quiet { color: var(--quiet); font-size: 0.9rem; }
.strong { font-weight: bold; }
ul { padding-left: 1.2rem; } li { margin: 0.25rem 0; overflow-wrap: anywhere; } p { overflow-wrap: anywhere; }
.caution { background: var(--caution); border-left: 6px solid var(--edge); padding: 0.5rem 1rem; margin: 1rem 0; }
.caution p { margin: 0.2rem 0; }
.wide { overflow-x: auto; margin: 0.8rem 0; }
.wide:focus-visible { outline: 3px solid var(--second); }
table { border-collapse: collapse; width: 100%; font-size: 0.86rem; }
caption { text-align: left; font-weight: bold; padding: 0.3rem 0; }
th, td { text-align: left; vertical-align: top; padding: 0.3rem 0.5rem; border-bottom: 1px solid var(--line); }
thead th { border-bottom: 2px solid var(--ink); } tbody th { font-weight: normal; }
.right { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
thead .right { white-space: normal; } .day { white-space: nowrap; }
.facts { width: auto; min-width: 60%; } .facts th { color: var(--quiet); padding-right: 1.5rem; }
.pencil td, .pencil th { height: 2.4rem; border: 1px solid var(--line); }
.big { font-size: 1.1rem; } .many { min-width: 52rem; } .some { min-width: 34rem; }
figure { margin: 1rem 0; break-inside: avoid; } figcaption { color: var(--quiet); font-size: 0.9rem; }
.drawing { display: block; width: 100%; min-width: 36rem; height: auto; }
.photos { display: flex; flex-wrap: wrap; gap: 1rem; break-inside: avoid; }
.photos figure { flex: 1 1 16rem; max-width: 34rem; margin: 0.5rem 0; }
.photos img { display: block; max-width: 100%; height: auto; max-height: 32rem; }
.signatures { display: flex; flex-wrap: wrap; gap: 2rem; margin-top: 3rem; break-inside: avoid; }
.signatures div { flex: 1 1 14rem; } .signatures p { margin: 0.2rem 0; }
.rule { border-bottom: 1px solid var(--ink); height: 2rem; }
.end { text-align: center; margin: 3rem 0 1rem; font-weight: bold; }
@media print {
  :root {
    --paper: #ffffff; --ink: #000000; --quiet: #595959; --line: #8c8c8c; --grid: #e6e6e6; --band: #d0d0d0;
    --second: #005a9c; --limit: #a84300; --expected: #00694d; --caution: #ffffff; --edge: #8a5a00;
  }
  @page { margin: 16mm; }
  body { font-size: 10pt; } main { max-width: none; padding: 0; }
  h2, h3, caption { break-after: avoid; } tr, .caution { break-inside: avoid; } thead { display: table-header-group; }
  .wide { overflow: visible; } .drawing, .many, .some { min-width: 0; } table { font-size: 8pt; }
  .break { break-after: page; }
}"""
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
        case Photos(items):
            return f'<div class="photos">{"".join(map(_photo, items))}</div>'
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


def _photo(photo: Photo) -> str:
    data = b64encode(photo.jpeg).decode("ascii")
    size = f'width="{photo.width}" height="{photo.height}"'
    drawn = f'<img src="data:image/jpeg;base64,{data}" {size} alt="{escape(photo.alt)}">'
    return f"<figure>{drawn}<figcaption>{escape(photo.caption)}</figcaption></figure>"


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
