"""``check``, ``backup``, ``merge``, ``export``: looking after the logbook as a whole."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from throwbook.cli import output
from throwbook.cli.options import by_option, can_ask, logbook_of, needed_day, now, waiting, who
from throwbook.core.quantities.text import counted
from throwbook.errors import InputError

if TYPE_CHECKING:
    from throwbook.logbook.merge import Merged, Terms

if TYPE_CHECKING:
    from throwbook.jobs.judgements import JudgedAgain


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def check(ctx: click.Context, as_json: bool) -> int:
    """Check every row, every record of samples and every seal. List what was changed or lost.

    First this version judges again the throws that an earlier version judged. That can tighten a status, never ease
    it. Exit code 0: no change or loss was found. 1: one was.

    \b
    Example:
      throwbook check
    """
    from throwbook.cli.diagnostics import worded
    from throwbook.errors import OutsideError
    from throwbook.jobs.judgements import JudgedAgain
    from throwbook.jobs.logbook_care import check as run
    from throwbook.jobs.logbook_care import judge_stored_again

    progress = _progress if sys.stderr.isatty() else None
    try:
        again = judge_stored_again(logbook_of(ctx), now(), progress)
    except OutsideError as error:  # it may only be read: it is looked at all the same
        again = JudgedAgain(left=[worded(error)])
    path, found = run(logbook_of(ctx), progress)
    if as_json:
        output.json_line(
            {
                "logbook": str(path),
                "whole": not found.problems,
                "rigs": found.rigs,
                "sheets": found.sheets,
                "trials": found.trials,
                "seals": found.seals,
                "problems": [{"where": each.where, "what": each.what} for each in found.problems],
                "judged_again": again.judged,
                "raised_again": [
                    {"rig": each.rig, "cause": each.cause, "because": each.because} for each in again.raised
                ],
                "not_judged_again": again.left,
            }
        )
    else:
        _print_again(again)
        numbers = {"rig": found.rigs, "sheet": found.sheets, "throw": found.trials, "seal": found.seals}
        looked_at = ", ".join(counted(number, word) for word, number in numbers.items())
        output.line(f"{path}: looked at {looked_at}.")
        for each in found.problems:
            output.line(f"{each.where}: {each.what}", style="bad", indent=2)
        if found.problems:
            output.line(f"{counted(len(found.problems), 'problem')}. Keep this file, and work from a backup.")
        else:
            output.line("No change or loss was found.", style="good")
    return 1 if found.problems else 0


def _print_again(again: "JudgedAgain") -> None:
    if again.judged:
        raised = f"{counted(len(again.raised), 'order')} raised" if again.raised else "nothing new shows"
        output.line(f"{counted(again.judged, 'stored throw')} judged again by this version: {raised}.")
    for each in again.raised:
        output.line(f"{each.rig}: {each.cause}: {each.because}", style="bad", indent=2)
    for text in again.left:
        output.line(f"not judged again: {text}", style="warn", indent=2)


def _progress(done: int, total: int) -> None:
    click.echo(f"\r{done} of {total} records", nl=False, err=True)


@click.command()
@click.argument("target", required=False, type=click.Path(path_type=Path))
@click.option(
    "--restore",
    "source",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Put the logbook back from this backup instead.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@by_option
@click.pass_context
def backup(
    ctx: click.Context, target: Path | None, source: Path | None, as_json: bool, by: str | None
) -> None:
    """Copy the logbook, even while it is in use, and check that the copy is complete.

    Without TARGET the copy is beside the logbook, named by date and time. Keep one on another disk.

    --restore puts the logbook back from a backup. The present file is kept beside it, and whatever the backup lacks
    is carried over. If the present file cannot be read, every rig is restricted until somebody signs for what may
    have been recorded since.

    \b
    Examples:
      throwbook backup /media/stick/logbook-2026.throwbook
      throwbook backup --restore /media/stick/logbook-2026.throwbook --by "M. K."
    """
    from throwbook.jobs.logbook_care import back_up

    if source is not None:
        if target is not None:
            raise InputError("a copy and a restore at once", "--restore", f"Leave out {target}.")
        _restore(ctx, source, by, as_json)
        return
    made = back_up(logbook_of(ctx), target, now())
    if as_json:
        output.json_line({"backup": str(made.target), "bytes": made.bytes, "whole": True})
    else:
        output.line(f"Complete copy at {made.target} ({made.bytes / 1e6:.1f} MB).")


def _restore(ctx: click.Context, source: Path, by: str | None, as_json: bool) -> None:
    from dataclasses import asdict

    from throwbook.jobs.restore import restore, restored_said

    done = restore(logbook_of(ctx), source, who(by), now(), waiting)
    if as_json:
        told = asdict(done)
        output.json_line(told | {"path": str(done.path), "kept": str(done.kept) if done.kept else None})
        return
    for text, tone in restored_said(done):
        output.line(text, style=tone)
    if done.held:
        output.line("'throwbook order list RIG' shows what to sign.")


@click.command()
@click.argument("other", type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Show what would be merged, and store nothing.")
@click.option(
    "--rename",
    "renames",
    multiple=True,
    metavar="OLD=NEW",
    help="Rig OLD of the other logbook is a different machine. It is merged as NEW.",
)
@click.option(
    "--same",
    multiple=True,
    metavar="RIG",
    help="Both logbooks added RIG, and it is one machine. Your rig file counts for both.",
)
@by_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def merge(
    ctx: click.Context,
    other: Path,
    dry_run: bool,
    renames: tuple[str, ...],
    same: tuple[str, ...],
    by: str | None,
    as_json: bool,
) -> None:
    """Add everything in logbook OTHER to this one. OTHER is not changed.

    A throw that is in both counts once. Entries about the same thing are kept side by side and listed. A rig that was
    added in both may be two machines of one name, so you are asked. In a pipe --rename or --same answers.

    \b
    Examples:
      throwbook merge /media/stick/van-2.throwbook
      throwbook merge --dry-run /media/stick/north-yard.throwbook
      throwbook merge --rename loader=north-loader /media/stick/north-yard.throwbook
    """
    from throwbook.jobs.logbook_care import take_in
    from throwbook.logbook.merge import ApartError, Terms

    started = now()
    terms = Terms(_names(renames), same, who(by), started, dry_run)
    while True:
        try:
            done = take_in(logbook_of(ctx), other, waiting, started, terms)
            break
        except ApartError as apart:
            if not can_ask():
                raise
            terms = _asked(apart.rigs[0], other, terms)
    if as_json:
        told = [{"where": each.where, "what": each.what} for each in done.conflicts]
        output.json_line(
            {"added": done.added, "conflicts": told, "apart": list(done.apart), "dry_run": dry_run}
        )
        return
    _print_merged(done, other, dry_run)


def _names(renames: tuple[str, ...]) -> dict[str, str]:
    found = {}
    for text in renames:
        old, equals, new = (part.strip() for part in text.partition("="))
        if not (old and equals and new):
            raise InputError(f"{text!r} renames no rig", "--rename", "Write --rename OLD=NEW.")
        found[old] = new
    return found


def _asked(rig: str, other: Path, terms: "Terms") -> "Terms":
    """Ask whether a rig of both logbooks is one machine."""
    from dataclasses import replace

    click.echo(f"Rig '{rig}' is in both logbooks, and each added it separately.", err=True)
    if click.confirm(f"Is '{rig}' of {other.name} the same machine as yours?", default=False, err=True):
        return replace(terms, same=(*terms.same, rig))
    new = str(click.prompt(f"Another name for '{rig}' of {other.name} (Ctrl-C stores nothing)", err=True))
    return replace(terms, rename={**terms.rename, rig: new.strip()})


def _print_merged(done: "Merged", other: Path, dry_run: bool) -> None:
    from throwbook.jobs.restore import rows_said

    if not done.rows:
        output.line(f"Nothing new in {other}.")
    else:
        head = "Would come in from" if dry_run else "Taken in from"
        output.line(f"{head} {other}: {rows_said(done.added) or 'revisions only'}; {done.rows} rows in all.")
    for rig in done.apart:
        ways = f"--rename {rig}=NEW-NAME if it is another machine, --same {rig} if it is one"
        output.line(f"{rig} was added to each logbook separately: {ways}.", style="warn")
    if done.conflicts:
        output.line("Recorded in two ways; both are kept:", style="warn")
        for each in done.conflicts:
            output.line(f"{each.where}: {each.what}", indent=2)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option(
    "--format",
    "form",
    type=click.Choice(["csv", "jsonl", "parquet"]),
    default="csv",
    show_default=True,
    help="Kind of the files.",
)
@click.option("--rig", metavar="NAME", help="Only this rig.")
@click.option("--traces", is_flag=True, help="Each record as a trace file too.")
@click.option(
    "--audit",
    type=click.Path(path_type=Path),
    metavar="FILE.zip",
    help="Everything of one rig in one file, with how to check it without this program.",
)
@click.option(
    "--issued", metavar="DATE", help="With --audit: day of issue, such as 2026-03-14 [default: today]."
)
@click.option("--columns", is_flag=True, help="Print what each column means, and write nothing.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def export(
    ctx: click.Context,
    folder: Path | None,
    form: str,
    rig: str | None,
    traces: bool,
    audit: Path | None,
    issued: str | None,
    columns: bool,
    as_json: bool,
) -> None:
    """Write the logbook's tables into a new FOLDER: CSV, JSON lines or Parquet, all in SI units.

    columns.csv in the folder lists each column with its meaning and unit. The CSV files open in a spreadsheet. Text
    that would run as a formula has an apostrophe in front.

    --audit FILE.zip writes everything of one rig into one file: papers, tables, traces, photographs and seals. A page and
    a hash list in it are for checking them without this program.

    \b
    Examples:
      throwbook export season-2026 --rig quarry-loader --traces
      throwbook export --rig quarry-loader --audit quarry-loader.zip
    """
    from throwbook.jobs.logbook_care import export as run

    if columns:
        _print_columns(as_json)
        return
    if audit is not None:
        _audit(ctx, audit, rig, folder, issued, as_json)
        return
    if issued is not None:
        raise InputError("it is for --audit", "--issued", "Leave it out")
    if folder is None:
        raise click.UsageError(
            "Missing argument 'FOLDER': where to write, for example: throwbook export season-2026"
        )
    done = run(logbook_of(ctx), folder, form, rig, traces)
    if as_json:
        output.json_line({"folder": str(done.folder), "files": done.files})
        return
    tables = {name: rows for name, rows in done.files.items() if "/" not in name}
    output.table(["file", "rows"], [[name, str(rows)] for name, rows in tables.items()], right=[1])
    for inner, what in (("traces", "trace file"), ("photographs", "photograph")):
        if number := sum(name.startswith(f"{inner}/") for name in done.files):
            output.line(f"{counted(number, what)} in {done.folder / inner}")
    output.line(f"Written to {done.folder}; columns.csv lists what each column means.")


def _audit(
    ctx: click.Context, file: Path, rig: str | None, named: Path | None, issued: str | None, as_json: bool
) -> None:
    """One rig for an auditor; its name may stand where a folder would."""
    from throwbook.cli.diagnostics import progress
    from throwbook.jobs.audit import LIST_NAME, PAGE_NAME, write_audit

    if rig is not None and named is not None:
        raise InputError("a folder and --audit at once", str(named), "Leave out the folder")
    whose = rig or (str(named) if named is not None else "")
    if not whose:
        raise InputError("it needs one rig", "--audit", "Give --rig NAME too")
    with progress("Papers") as told:
        done = write_audit(logbook_of(ctx), whose, file, needed_day(issued, "--issued") or now().date(), told)
    if as_json:
        output.json_line({"file": str(done.file), "files": done.files, "list_sha256": done.list_sha256})
        return
    output.line(
        f"Written to {done.file}: {counted(done.files, 'file')}. {PAGE_NAME} in it says how to check them."
    )
    output.line(f"Tell the auditor by another way: SHA-256 of {LIST_NAME} is")
    output.verbatim(done.list_sha256)


def _print_columns(as_json: bool) -> None:
    from throwbook.core.export_schema import described

    if as_json:
        for row in described():
            output.json_line(row)
        return
    shown = [[row["table"], row["column"], row["unit"], row["what"]] for row in described()]
    output.table(["table", "column", "unit", "what"], shown)
