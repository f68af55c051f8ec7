"""Changes to a sheet that leave the old beside the new: ``answer``, ``leave-out``, ``rejudge``. They hang on ``sheet``."""

from typing import Any

import click

from logger.cli import output
from logger.cli.asking import needed, question_answers, question_options
from logger.cli.shared import by_option, logbook_of, now, reason_option, who
from logger.cli.sheet_views import print_sheet, print_status
from logger.core.quantities.plain import counted
from logger.errors import InputError


@click.command(short_help="Answer the questions of an open sheet.")
@click.argument("name")
@question_options
@reason_option("Why an earlier answer is corrected.")
@by_option
@click.pass_context
def answer(ctx: click.Context, /, name: str, by: str | None, reason: str, **given: Any) -> None:
    """Answer the questions of open sheet NAME; a later answer stands beside the earlier one.

    \b
    Example:
      throwbook sheet answer yard-loader-3 --ambient 4degC --hours-since 16h --worked-before no
    """
    from logger.jobs.sheets import answer as write

    told = question_answers(given)
    if not told:
        raise InputError("no question was answered", name, "For example: --ambient 4degC")
    state = write(logbook_of(ctx), name, told, who(by), now(), reason)
    output.line(f"{state.name}: {counted(len(told), 'answer')} written down.")


@click.command("leave-out", short_help="Take a throw of an open sheet out of the count.")
@click.argument("name")
@click.option("--throw", type=int, required=True, help="Number of the throw.")
@click.option("--because", "--reason", "because", metavar="TEXT", help="Why it doesn't count.")
@by_option
@click.pass_context
def leave_out(ctx: click.Context, name: str, throw: int, because: str | None, by: str | None) -> None:
    """Take a throw of open sheet NAME out of the count: a wrong file, the other attachment. It stays on the sheet.

    A failed throw can't be hidden so: the sheet is then not accepted, and what it raised stays.

    \b
    Example:
      throwbook sheet leave-out yard-loader-3 --throw 4 --because "the other attachment was on"
    """
    from logger.jobs.sheets import leave_out as take_out

    because = needed(because, "--because", "Why doesn't it count")
    found = take_out(logbook_of(ctx), name, throw, because, who(by), now())
    print_sheet(found)


@click.command(short_help="Put an imported throw down to the rig it is of.")
@click.argument("name")
@click.option(
    "--throw", "throws", type=int, multiple=True, required=True, help="Number of the throw (again for more)."
)
@click.option("--to", metavar="RIG|nobody", help="The rig that it is of; 'nobody': none in this logbook.")
@click.option(
    "--because", "--reason", "because", metavar="TEXT", help="How it came to stand on the wrong rig."
)
@click.option("--signed", metavar="NAME", help="Who answers for it.")
@click.pass_context
def reassign(
    ctx: click.Context,
    name: str,
    throws: tuple[int, ...],
    to: str | None,
    because: str | None,
    signed: str | None,
) -> None:
    """Put imported throws of sheet NAME down to the rig they are of: a signed correction that every paper shows.

    Only what came in from files, and was never accepted. The other rig goes where this one stood before this one is eased;
    'nobody' waives the repair alone: cause, full commissioning and signature stay.

    \b
    Example:
      throwbook sheet reassign yard-loader-3 --throw 2 --to quarry-loader --because "wrong folder" --signed "M. K."
    """
    from logger.jobs.reassign import Correction
    from logger.jobs.reassign import reassign as put_right

    to = needed(to, "--to", "Which rig is it of ('nobody': none)")
    because = needed(because, "--because", "How did it come to stand here")
    signed = needed(signed, "--signed", "Signed (your name)")
    done = put_right(logbook_of(ctx), Correction(name, throws, to, because, signed), now())
    where = f"now on {done.other.name}" if done.other else f"put down to {to}"
    output.line(f"{counted(len(throws), 'throw')} of {done.state.name}: {where}.")
    if done.other_status is not None:
        print_status(to, done.other_status)
    print_status(done.state.sheet.rig, done.status)


@click.command(short_help="Judge every throw of a sheet again, by the rig of now.")
@click.argument("name")
@click.option("--reason", "--because", "reason", metavar="TEXT", help="Why it is judged again.")
@by_option
@click.pass_context
def rejudge(ctx: click.Context, name: str, reason: str | None, by: str | None) -> int:
    """Judge every throw of sheet NAME again, by the rig file and the method of now; the old verdicts stay beside.

    A decided sheet stays decided. What a throw now fails takes the rig up at once.

    \b
    Example:
      throwbook sheet rejudge yard-loader-3 --reason "rating on the data sheet was misread"
    """
    from logger.jobs.rejudge import rejudge as judge

    reason = needed(reason, "--reason", "Why is it judged again")
    done = judge(logbook_of(ctx), name, reason, who(by), now())
    for one in done.changed:
        output.line(f"throw {one.position} ({one.direction}): {one.before} -> {one.after}. {one.because}")
    output.line(
        f"{name}: {counted(done.judged, 'throw')} judged again, {len(done.changed)} with another verdict."
    )
    print_status(done.state.sheet.rig, done.status)
    return 1 if any(one.after == "fail" for one in done.changed) else 0
