"""A screen as an SVG picture: what stands on it and nothing around it, no font or file from outside."""

from io import StringIO
from typing import TYPE_CHECKING

from rich.console import Console

if TYPE_CHECKING:
    from rich.console import RenderableType

# The places in braces are those that rich's ``export_svg`` fills in.
FORMAT = """\
<svg viewBox="0 0 {terminal_width} {terminal_height}" xmlns="http://www.w3.org/2000/svg">
<style>
.{unique_id}-matrix {{
font-family: "DejaVu Sans Mono", monospace;
font-size: {char_height}px;
line-height: {line_height}px;
font-variant-east-asian: full-width;
}}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal">
<rect x="0" y="0" width="{terminal_width}" height="{terminal_height}" />
</clipPath>
{lines}
</defs>
<g clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""


def svg_of(screen: "RenderableType | None", width: int, height: int, title: str) -> str:
    """``screen`` as it is drawn on ``width`` by ``height`` letters."""
    console = Console(
        width=width,
        height=height,
        file=StringIO(),
        force_terminal=True,
        color_system="truecolor",
        record=True,
        legacy_windows=False,
        safe_box=False,
    )
    console.print(screen)
    return console.export_svg(title=title, code_format=FORMAT)
