"""The pages of the guide that are made from the program, so that they can't fall behind it.

    python -m logger.cli.guide          # from the top of the repository; ``make pictures`` does it

Writes ``logger/guide/commands.md`` (every command and option, from the parser), ``logger/guide/signs.md`` and a picture of
each sign (from the tables and the sample runs). For contributors; no command of its own.
"""

import sys
from collections.abc import Iterator
from inspect import cleandoc
from pathlib import Path

import click

from logger.cli import diagnostics, output
from logger.cli.main import throwbook

INTRO = """# Every command and option

<!-- Written by `make pictures` from the parser; don't edit it by hand. -->

`--logbook PATH` (or `THROWBOOK_LOGBOOK`) goes before the command. Quantities are typed with their units: `14.3s`, `188 mm`,
`7 3/8 in`, `2.1A`, `330 lbf`, `-5 degC`. Exit codes: 0 done and nothing failed, 1 done and at least one verdict is `fail`, 2
wrong use or bad input, 3 the outside failed (port, disk). In a pipe nothing is asked: what would be asked is refused with the
option that answers it.
"""


VALUES = {
    "integer": "NUMBER",
    "integer range": "NUMBER",
    "float range": "NUMBER",
    "datetime": "DATE",
    "directory": "FOLDER",
}
"""What the parser calls a value: what a reader would."""


def commands(group: click.Group, before: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    """Every command with its whole name, groups before what they hold."""
    ctx = click.Context(group)
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        assert command is not None
        yield " ".join((*before, name)), command
        if isinstance(command, click.Group):
            yield from commands(command, (*before, name))


def commands_page() -> str:
    """Every command: what it says of itself, its arguments and options."""
    parts = [INTRO]
    for name, command in commands(throwbook):
        parts.append(f"{'###' if ' ' in name else '##'} `throwbook {name}`\n")
        parts.append(_prose(command.help or "") + "\n")
        if isinstance(command, click.Group):
            continue
        parts.append(f"    {_usage(name, command)}\n")
        if command.epilog:
            parts.append(_example(command.epilog) + "\n")
        rows = [row for one in command.params if isinstance(one, click.Option) for row in _row(one)]
        if rows:
            parts.append("| option | |\n|---|---|\n" + "\n".join(rows) + "\n")
    return "\n".join(parts)


def _usage(name: str, command: click.Command) -> str:
    """The command with its arguments, as it is typed."""
    pieces = command.collect_usage_pieces(click.Context(command))
    return " ".join(
        ["throwbook", name, *(piece.lower() if "OPTIONS" in piece else piece for piece in pieces)]
    )


def _example(epilog: str) -> str:
    """What stands below the options, set off."""
    return _prose(epilog) if "\b" in epilog else f"    {epilog}"


def _prose(text: str) -> str:
    """Paragraphs as they are; what the help sets off (``\\b``) as a block."""
    blocks = []
    for block in cleandoc(text).split("\n\n"):
        lines = [line.strip() for line in block.splitlines()]
        if lines and lines[0] == "\b":
            block_lines = block.splitlines()[1:]
            blocks.append("\n".join("    " + line.rstrip() for line in block_lines))
        else:
            blocks.append(" ".join(lines))
    return "\n\n".join(blocks)


def _row(option: click.Option) -> list[str]:
    if option.hidden:
        return []
    named = VALUES.get(option.type.name, option.type.name.upper())
    value = "" if option.is_flag else f" {option.metavar or named}"
    if isinstance(option.type, click.Choice):
        value = " " + " · ".join(map(str, option.type.choices))
    names = ", ".join(option.opts)
    return [f"| `{names}`{value} | {option.help or ''} |"]


def write(top: Path) -> None:
    """Write the pages under ``top``, the repository."""
    from logger.jobs.guide import write_pictures

    guide = top / "logger" / "guide"
    (guide / "commands.md").write_text(commands_page(), encoding="utf-8", newline="\n")
    written = write_pictures(top / "sample-runs", guide)
    output.line(
        f"{len(written) - 1} pictures in {top / 'sample-runs' / 'pictures'}; commands.md, signs.md in {guide}."
    )


@click.command()
@click.argument("top", type=click.Path(path_type=Path, exists=True, file_okay=False), default=Path())
def _write(top: Path) -> None:
    """Write the made pages of the guide under TOP, the top of the repository."""
    write(top)


if __name__ == "__main__":
    sys.exit(diagnostics.run(_write))
