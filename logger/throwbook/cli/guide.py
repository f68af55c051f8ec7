"""The made pages and pictures of the guide, and the manual page, from the commands and the tables.

    python -m throwbook.cli.guide          # from the top of the repository; ``make pictures`` does it

writes ``commands.md`` (from the parser), ``signs.md``, ``glossary.md`` and ``columns.md`` (from the tables) and a picture of each sign (from the
sample runs).
``throwbook man`` prints every command's help as one page in the language of man(7).
"""

import sys
from collections.abc import Iterator, Mapping
from inspect import cleandoc
from pathlib import Path

import click

from throwbook import __version__
from throwbook.cli import diagnostics, output
from throwbook.cli.main import throwbook
from throwbook.core import wording
from throwbook.core.diagnosis.causes import CAUSES, Cause
from throwbook.core.export_schema import Column
from throwbook.core.wording import SIGN_REMEDIES, SIGNS, LimitName, Name
from throwbook.errors import OutsideError
from throwbook.jobs.assess import TraceReading, baselines_from, trace_paths
from throwbook.jobs.sample_runs import SAMPLE_RUNS, SampleRun

COMMANDS_INTRO = """# Every command and option

<!-- Written by `make pictures` from the parser; don't edit it by hand. -->

`--logbook PATH` (or `THROWBOOK_LOGBOOK`) goes before the command. Quantities are typed with their units: `14.3s`, `188 mm`,
`7 3/8 in`, `2.1A`, `330 lbf`, `-5 degC`. Exit codes: 0 done and nothing failed, 1 done and a verdict is `fail`, 2
wrong use or bad input, 3 port or disk failed. In a pipe nothing is asked. The command is refused
instead, with the option that answers the question.
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
    parts = [COMMANDS_INTRO]
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

    guide = top / "logger" / "throwbook" / "guide"
    for name, page in MADE:
        (guide / name).write_text(page(), encoding="utf-8", newline="\n")
    written = write_pictures(top / "sample-runs", guide)
    output.line(
        f"{len(written) - 1} pictures in {top / 'sample-runs' / 'pictures'}; {', '.join(name for name, _ in MADE)}, signs.md in {guide}."
    )


@click.command()
@click.argument("top", type=click.Path(path_type=Path, exists=True, file_okay=False), default=Path())
def _write(top: Path) -> None:
    """Write the made pages of the guide under TOP, the top of the repository."""
    write(top)


CODES = (
    ("0", "done, and nothing failed"),
    ("1", "done, and at least one verdict is fail"),
    ("2", "wrong use or bad input; one line on standard error gives what, where and what to do"),
    ("3", "a port, a disk or a cable failed"),
)
VARIABLES = (
    ("THROWBOOK_LOGBOOK", "Logbook file to work on, as --logbook."),
    ("THROWBOOK_BY", "Name of the person who enters things, as --by."),
    ("THROWBOOK_THEME", "night: the dark theme of the screens."),
    ("THROWBOOK_ASCII", "Set to anything: the screens use plain letters only."),
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


PICTURES = "pictures"
HEALTHY = "healthy/lock-mild.csv"

SIGNS_INTRO = """# Every sign: picture, cause, remedy

<!-- Written by `make pictures` from the tables of the program and the sample runs; don't edit it by hand. -->

At the end you know what a sign may mean, how to tell its causes apart, and what to do.

The pictures are simulated (see [the sample runs](../../../sample-runs/README.md)). Upper chart: current over time. Lower chart:
current over travel, beside the band of the baseline. A sign is what the record shows. A cause would explain it. Beside each
cause you find the other causes that it could be, and the action that tells them apart.

**A throw without signs proves nothing.** A pin can be beside its hole and the current exactly the same. At every change look at
both pins, one at a time, and do the manufacturer's load check. Attachment on the ground and area clear before every throw. Isolate
the power and take the key out before hands go near the pins.

A throw without signs:

![A lock throw without signs](../../../sample-runs/pictures/lock-mild.svg)

*Inrush, an even run inside the band of the baseline, then it stopped by itself.*
"""
GLOSSARY_INTRO = """# Glossary

<!-- Written by `make pictures` from the tables of the program; don't edit it by hand. -->

At the end you know every name that Throwbook uses: one short name for a column, one long name for a sentence. The *key* is
what stands in files and in JSON. It never changes.
"""
# title, what stands under it, the table
GLOSSARY: tuple[tuple[str, str, Mapping[str, Name | LimitName]], ...] = (
    (
        "Figures",
        "`NAME_u` is the expanded uncertainty (k = 2) of a figure. On a screen it is the \u00b1.",
        wording.FIGURES,
    ),
    ("Limits", "A limit is named by its figure and its side.", wording.LIMITS),
    (
        "How a throw ended",
        "*Stopped by itself* means that the current went off. It never shows where the pins are.",
        wording.ENDS,
    ),
    (
        "Signs",
        "A sign is what a record shows. [Every sign](signs.md) shows its causes and its remedy, most with a picture.",
        SIGNS,
    ),
    ("Verdicts", "No verdict shows where a pin is.", wording.VERDICTS),
    (
        "What a person looks at",
        "After every lock throw. A person answers, never the program.",
        wording.SIGHTINGS,
    ),
    ("Questions of a sheet", "A blank is stored as *not recorded*, never as a no.", wording.CONDITIONS),
    (
        "States of a trend",
        "Each check is compared with the start of its chart period: commissioning, or the last service that restarts the chart.",
        wording.TREND_STATES,
    ),
    ("Values of a rig", "In the rig file, and on the form.", wording.RIG),
)


def glossary_page() -> str:
    """Every name, from the tables of ``core.wording``."""
    parts = [GLOSSARY_INTRO]
    for title, about, names in GLOSSARY:
        rows = [(f"`{key}`", *_named(name)) for key, name in names.items()]
        head = ("key", "short", "long", "what it is")
        columns = range(len(head)) if any(row[-1] for row in rows) else range(len(head) - 1)
        parts.append(f"## {title}\n\n{about}\n")
        for row in (head, ("---",) * len(head), *rows):
            parts.append(f"| {' | '.join(row[column] for column in columns)} |")
        parts.append("")
    parts.append(
        "## Why a status was tightened\n\nThe cause of an order.\n\n| key | in words |\n| --- | --- |"
    )
    parts += [f"| `{key}` | {cause} |" for key, cause in wording.ORDER_CAUSES.items()]
    return "\n".join(parts) + "\n"


def _named(name: Name | LimitName) -> tuple[str, str, str]:
    """Short and long name, with the unit as people write it, and what it is."""
    figure = name if isinstance(name, Name) else name.figure
    unit = f" [{figure.unit}]" if figure.unit not in ("", "1") else ""
    return name.column, f"{name.sentence}{unit}", name.means if isinstance(name, Name) else ""


COLUMNS_INTRO = """# Every column of every table

<!-- Written by `make pictures` from the tables of the program; don't edit it by hand. -->

At the end you know what stands in each column. `book.to_frame("NAME")` gives each table [in a notebook](notebook.md).
`throwbook export` writes those of the second part into files.

Units are SI. The unit `1` is a plain number or a share. With `see unit` the column `unit` of the same row says it. An `ISO 8601`
time has its offset from UTC. In a notebook it is in UTC. A `day` is that of the place where it happened, without a time zone.

In a notebook a text with few words is a category, in the order that stands here. *Looked up by* names the columns that are the index
there. They stay columns too. A name with `_u` is the expanded uncertainty (k = 2) of the one before it.

No figure, verdict or status shows where a pin is. A person looks at both pins.

Of a service `seen_what` is the text and `seen_on` the day, in every table and in JSON. The same goes for `found`, `fixed` and
`verified`.
"""
FIRST_OF = {"status": "Worked out when asked", "rigs": "Kept in the logbook"}
"""Table: the heading of the part that it begins."""


def columns_page() -> str:
    """Every column of every table, with its unit and meaning."""
    from throwbook.jobs.derived_tables import KEYS, TABLES

    parts = [COLUMNS_INTRO]
    for table, columns in TABLES.items():
        if table in FIRST_OF:
            parts.append(f"## {FIRST_OF[table]}\n")
        parts.append(f"### `{table}`\n\nLooked up by: {', '.join(KEYS[table])}.\n")
        parts.append("| column | unit | what it is |\n| --- | --- | --- |")
        parts += [f"| `{one.name}` | {one.unit} | {_meaning(one)} |" for one in columns]
        parts.append("")
    return "\n".join(parts)


def _meaning(column: Column) -> str:
    words = f" ({' · '.join(column.one_of)})" if column.one_of else ""
    return column.what + words


MADE = (("commands.md", commands_page), ("glossary.md", glossary_page), ("columns.md", columns_page))
"""Pages that are made from tables alone."""


def pictured() -> Iterator[tuple[str, SampleRun]]:
    """The sample run whose picture stands for each sign, in the order of the guide; the healthy one last."""
    for sign in SIGNS:
        run = next((run for run in SAMPLE_RUNS if run.sign == sign), None)
        if run is not None:
            yield sign, run
    yield "", next(run for run in SAMPLE_RUNS if run.path == HEALTHY)


def write_pictures(samples: Path, guide: Path) -> list[Path]:
    """Draw every picture into ``samples/pictures`` and write ``guide/signs.md``; gives what was written.

    Raises InputError where the sample runs aren't there, OutsideError when the disk refuses.
    """
    from throwbook.core.diagnosis.assess import assess_trace
    from throwbook.files.rig_file import read_rig
    from throwbook.report.charts import Subject, write_picture

    rig = read_rig(samples / "yard-loader.toml")
    baselines = baselines_from(trace_paths([samples / "baseline"]), rig, TraceReading())
    folder = samples / PICTURES
    written = []
    try:
        folder.mkdir(exist_ok=True)
        for _, run in pictured():
            trace, baseline = TraceReading().read(samples / run.path), baselines.get(run.direction)
            path = folder / f"{Path(run.path).stem}.svg"
            write_picture(Subject(trace, assess_trace(trace, rig, baseline), rig, baseline), path)
            written.append(path)
        page = guide / "signs.md"
        page.write_text(signs_page(), encoding="utf-8", newline="\n")
    except OSError as error:
        what = f"writing failed ({error.strerror})"
        raise OutsideError(what, str(folder), "Name a folder you may write to.") from error
    return [*written, page]


def _when(cause: Cause, of_how_many: int) -> str:
    """What a record has to show for this cause to be named; nothing where a sign has but one."""
    if of_how_many == 1:
        return ""
    said = (cause.fits.__doc__ or "Otherwise.").strip().splitlines()[0].rstrip(".")
    return f"*{said}.* "


def _cause(cause: Cause) -> str:
    return (
        f"{cause.sure.capitalize()} cause: {cause.cause}. Could also be: {'; '.join(cause.rivals)}. "
        f"To tell: {cause.action}"
    )


def signs_page() -> str:
    """The page of signs, from the tables."""
    parts = [SIGNS_INTRO]
    with_picture = dict(pictured())
    for sign, called in SIGNS.items():
        parts.append(f"## `{sign}`: {called.column}\n\n{called.sentence}.\n")
        run = with_picture.get(sign)
        if run is not None:
            name = Path(run.path).stem
            parts.append(
                f"![{run.shows}](../../../sample-runs/pictures/{name}.svg)\n\n*{run.path}: {run.shows}.*\n"
            )
        causes = [cause for cause in CAUSES if cause.sign == sign]
        parts += [f"- {_when(cause, len(causes))}{_cause(cause)}" for cause in causes]
        parts.append(f"\nWhat to do: {SIGN_REMEDIES[sign]}\n")
    return "\n".join(parts)


if __name__ == "__main__":
    sys.exit(diagnostics.run(_write))
