"""``throwbook man``: every command's help as one manual page, in the language of man(7)."""

from collections.abc import Iterator

import click

from logger import __version__
from logger.cli import output

CODES = (
    ("0", "done, and nothing failed"),
    ("1", "done, and at least one verdict is fail"),
    ("2", "wrong use or bad input; one line on standard error says what, where and what to do"),
    ("3", "the outside failed: a port, a disk, a cable"),
)
VARIABLES = (
    ("THROWBOOK_LOGBOOK", "Logbook file to work on, as --logbook."),
    ("THROWBOOK_BY", "Who writes things down, as --by."),
    ("THROWBOOK_THEME", "night: the screen's dim theme."),
    ("THROWBOOK_ASCII", "Set to anything: the screen draws with plain letters only."),
    ("NO_COLOR", "Set to anything: no colours."),
)


@click.command()
@click.pass_context
def man(ctx: click.Context) -> None:
    """Print the manual page of all commands.

    \b
    Examples:
      throwbook man > throwbook.1 && man ./throwbook.1
      throwbook man > ~/.local/share/man/man1/throwbook.1
    """
    group = ctx.find_root().command
    assert isinstance(group, click.Group)
    for text in page(group):
        output.verbatim(text)


def page(group: click.Group) -> Iterator[str]:
    """The lines of the page."""
    yield f'.TH THROWBOOK 1 "" "throwbook {__version__}" "Throwbook"'
    yield from (".SH NAME", "throwbook \\- " + _roff(_first_sentence(group.help or "")))
    yield from (".SH SYNOPSIS", ".B throwbook", "[OPTIONS] COMMAND [ARGS]...")
    yield from (".SH DESCRIPTION", *_text(group.help or ""))
    root = group.make_context("throwbook", [], resilient_parsing=True)
    yield from (".SH OPTIONS", *_options(group, root))
    yield ".SH COMMANDS"
    yield from _commands(group, root)
    for title, rows in (("EXIT STATUS", CODES), ("ENVIRONMENT", VARIABLES)):
        yield f".SH {title}"
        for name, what in rows:
            yield from (".TP", f".B {_roff(name)}", _roff(what))


def _commands(group: click.Group, ctx: click.Context) -> Iterator[str]:
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        assert command is not None
        inner = click.Context(command, info_name=name, parent=ctx)
        if isinstance(command, click.Group):
            yield from _commands(command, inner)
            continue
        usage = " ".join(command.collect_usage_pieces(inner))
        yield f'.SS "{_roff(inner.command_path)} {_roff(usage)}"'
        yield from _text(command.help or "")
        yield from _options(command, inner)
        yield from _text(command.epilog or "")


def _options(command: click.Command, ctx: click.Context) -> Iterator[str]:
    for param in command.get_params(ctx):
        record = param.get_help_record(ctx)
        if record is not None:
            yield from (".TP", f".B {_roff(record[0])}", _roff(" ".join(record[1].split())))


def _text(text: str) -> Iterator[str]:
    """Paragraphs filled; those that click is told to leave alone (``\\b``) as they are."""
    for paragraph in text.replace("\f", "").split("\n\n"):
        lines = paragraph.strip("\n").split("\n")
        if lines[0].strip() == "\b":
            yield from (".PP", ".nf", *(_roff(line.rstrip()) for line in lines[1:]), ".fi")
        else:
            yield from (".PP", _roff(" ".join(paragraph.split())))


def _first_sentence(text: str) -> str:
    return " ".join(text.split()).partition(". ")[0].rstrip(".")


def _roff(text: str) -> str:
    """Text in which nothing is a command of the page's own language."""
    safe = text.replace("\\", "\\e").replace("-", "\\-").replace('"', "\\(dq")
    return f"\\&{safe}" if safe.startswith((".", "'")) else safe
