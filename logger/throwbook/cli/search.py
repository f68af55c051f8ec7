"""``search``: words in everything that was written."""

from dataclasses import asdict

import click

from throwbook.cli import output
from throwbook.cli.options import logbook_of
from throwbook.core.quantities.text import counted


@click.command()
@click.argument("words", nargs=-1, required=True)
@click.option("--rig", metavar="NAME", help="Only what was written about this rig.")
@click.option(
    "--first", type=click.IntRange(min=1), default=30, show_default=True, help="Show so many, newest first."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object an entry; all of them.")
@click.pass_context
def search(ctx: click.Context, words: tuple[str, ...], rig: str | None, first: int, as_json: bool) -> None:
    """Find WORDS in services, orders, sheets, what was seen at the pins, throws and rig values. Newest first.

    Every word must be in the entry, or begin a word in it. Words in quotes must stand together. Capitals and accents
    do not matter.

    \b
    Examples:
      throwbook search grease
      throwbook search --rig yard-loader "clevis pin" sheared
    """
    from throwbook.core.listing import NOTES
    from throwbook.jobs.search import excerpt
    from throwbook.jobs.search import search as find

    found = find(logbook_of(ctx), words, rig)
    if as_json:
        for one in found:
            output.json_line(asdict(one))
        return
    if not found:
        output.line("No text in the logbook has these words. Try the beginning of a word, or fewer words.")
        return
    output.table(NOTES.heads, [NOTES.row(excerpt(one, words)) for one in found[:first]])
    if len(found) > first:
        output.line(f"{counted(len(found), 'text')} in all: --first {len(found)} shows them.")
