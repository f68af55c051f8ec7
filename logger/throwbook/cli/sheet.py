"""The command sheet: test sheets from the plan to the signature; a change leaves the old beside the new."""

from typing import Any

import click

from throwbook.cli import output
from throwbook.cli.options import (
    ask_questions,
    by_option,
    logbook_of,
    needed,
    needed_day,
    now,
    question_answers,
    question_options,
    reason_option,
    who,
)
from throwbook.cli.report import blank, print_
from throwbook.cli.sheet_text import (
    print_plan,
    print_sheet,
    print_status,
    sheet_json,
)
from throwbook.cli.sign_off import accept, reject, see
from throwbook.core.quantities.text import counted
from throwbook.core.records import BY_BOARD, BY_HAND
from throwbook.errors import InputError


@click.command(short_help="Answer the questions of an open sheet.")
@click.argument("name")
@question_options
@reason_option("Reason for the correction of an earlier answer.")
@by_option
@click.pass_context
def answer(ctx: click.Context, /, name: str, by: str | None, reason: str, **given: Any) -> None:
    """Answer the questions of open sheet NAME. A later answer is kept beside the earlier one.

    \b
    Example:
      throwbook sheet answer yard-loader-3 --ambient 4degC --hours-since 16h --worked-before no
    """
    from throwbook.jobs.sheets import answer as write

    told = question_answers(given)
    if not told:
        raise InputError("no question was answered", name, "For example: --ambient 4degC")
    state = write(logbook_of(ctx), name, told, who(by), now(), reason)
    output.line(f"{state.name}: {counted(len(told), 'answer')} written down.")


@click.command("leave-out", short_help="Leave a throw of an open sheet out.")
@click.argument("name")
@click.option("--throw", type=int, required=True, help="Number of the throw.")
@click.option("--because", "--reason", "because", metavar="TEXT", help="Reason to leave it out.")
@by_option
@click.pass_context
def leave_out(ctx: click.Context, name: str, throw: int, because: str | None, by: str | None) -> None:
    """Leave a throw of open sheet NAME out: a wrong file, the wrong attachment. It stays visible on the sheet.

    This does not hide a failed throw: the sheet then cannot be accepted, and its orders stay open.

    \b
    Example:
      throwbook sheet leave-out yard-loader-3 --throw 4 --because "the other attachment was on"
    """
    from throwbook.jobs.sheets import leave_out as take_out

    because = needed(because, "--because", "Reason to leave it out")
    found = take_out(logbook_of(ctx), name, throw, because, who(by), now())
    print_sheet(found)


@click.command(short_help="Move an imported throw to the rig that made it.")
@click.argument("name")
@click.option(
    "--throw", "throws", type=int, multiple=True, required=True, help="Number of the throw (repeat for more)."
)
@click.option("--to", metavar="RIG|nobody", help="The rig that made it; 'nobody': none in this logbook.")
@click.option("--because", "--reason", "because", metavar="TEXT", help="Why it was on the wrong rig.")
@click.option("--signed", metavar="NAME", help="Signed by.")
@click.pass_context
def reassign(
    ctx: click.Context,
    name: str,
    throws: tuple[int, ...],
    to: str | None,
    because: str | None,
    signed: str | None,
) -> None:
    """Move imported throws of sheet NAME to the rig that made them: a signed correction that every paper shows.

    Only for throws from files on a sheet that was never accepted. A 'do not use' that they raised is opened
    on the other rig first, then cleared here. With 'nobody' only the repair is waived. The cause, a full commissioning
    and a signature are still needed.

    \b
    Example:
      throwbook sheet reassign yard-loader-3 --throw 2 --to quarry-loader --because "wrong folder" --signed "M. K."
    """
    from throwbook.jobs.reassign import Correction
    from throwbook.jobs.reassign import reassign as put_right

    to = needed(to, "--to", "Which rig made it ('nobody': none)")
    because = needed(because, "--because", "How did it come to be here")
    signed = needed(signed, "--signed", "Signed by (your name)")
    done = put_right(logbook_of(ctx), Correction(name, throws, to, because, signed), now())
    where = f"now on {done.other.name}" if done.other else f"moved to {to}"
    output.line(f"{counted(len(throws), 'throw')} of {done.state.name}: {where}.")
    if done.other_status is not None:
        print_status(to, done.other_status)
    print_status(done.state.sheet.rig, done.status)


@click.command(short_help="Judge every throw of a sheet again, with the rig's present values.")
@click.argument("name")
@click.option("--reason", "--because", "reason", metavar="TEXT", help="Reason for judging again.")
@by_option
@click.pass_context
def rejudge(ctx: click.Context, name: str, reason: str | None, by: str | None) -> int:
    """Judge every throw of sheet NAME again, by the present rig file and method. The old verdicts are kept.

    A decided sheet stays decided. If a throw now fails, the rig's status is tightened at once.

    \b
    Example:
      throwbook sheet rejudge yard-loader-3 --reason "rating on the data sheet was misread"
    """
    from throwbook.jobs.judgements import rejudge as judge

    reason = needed(reason, "--reason", "Reason for judging again")
    done = judge(logbook_of(ctx), name, reason, who(by), now())
    for one in done.changed:
        output.line(f"throw {one.position} ({one.direction}): {one.before} -> {one.after}. {one.because}")
    output.line(
        f"{name}: {counted(done.judged, 'throw')} judged again, {len(done.changed)} with another verdict."
    )
    print_status(done.state.sheet.rig, done.status)
    return 1 if any(one.after == "fail" for one in done.changed) else 0


KINDS = click.Choice(["bench", "commissioning", "seasonal", "after-service", "spot"])


@click.group()
def sheet() -> None:
    """Plan a test sheet, record what was seen, accept or reject it."""


sheet.add_command(print_)

sheet.add_command(blank)


@sheet.command(short_help="Plan a sheet: how many throws, what to look at.")
@click.argument("rig")
@click.option("--kind", type=KINDS, help="Kind of sheet.")
@click.option("--throws", type=click.IntRange(1, 1000), help="Throws each way (commissioning: at least 5).")
@click.option(
    "--clamp-accuracy",
    metavar="TEXT",
    help="Accuracy of the clamp meter, from its data sheet: '2% + 3 digits'.",
)
@click.option("--clamp-step", metavar="CURRENT", help="Step of its last digit: 0.1A.")
@click.option(
    "--meter",
    "meters",
    multiple=True,
    metavar="NAME",
    help="Read from this meter; repeat for each ('meter list').",
)
@click.option("--measured-by", type=click.Choice([BY_BOARD, BY_HAND]), help="By a board, or by hand.")
@click.option("--day", "on", metavar="DATE", help="Day of the throws, if you copy them from paper later.")
@question_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@by_option
@click.pass_context
def plan(ctx: click.Context, /, rig: str, as_json: bool, by: str | None, **given: Any) -> None:
    """Plan a sheet for RIG: how many throws, how long to rest between them, what to check.

    \b
    Example:
      throwbook sheet plan yard-loader --kind commissioning --hours-since 16h --worked-before no
          --ambient 4degC --attachment bucket
    """
    from throwbook.core.quantities.units import parse
    from throwbook.core.sheets.hand_readings import accuracy_from
    from throwbook.jobs.sheets import meter_reach
    from throwbook.jobs.sheets import plan as make
    from throwbook.jobs.steps_to_clear import steps_to_clear

    clamp, step = given["clamp_accuracy"], given["clamp_step"]
    accuracy = accuracy_from(clamp, "--clamp-accuracy") if clamp else None
    step_a = parse(step, "current", "--clamp-step") if step else None
    if step_a is not None and step_a <= 0.0:
        raise InputError(
            f"{step!r} is not the step of a meter's last digit", "--clamp-step", "Give its last digit: 0.1A."
        )

    kind = needed(given["kind"], "--kind", "Kind of sheet", tuple(KINDS.choices))
    answers = ask_questions(question_answers(given))
    at, operator = now(), who(by)
    state, made = make(
        logbook_of(ctx),
        rig,
        kind,
        operator,
        at,
        given["throws"],
        answers,
        given["meters"],
        given["measured_by"] or "",
        str(needed_day(given["on"], "--day") or ""),
    )
    reaches = meter_reach(logbook_of(ctx), state.sheet.id, accuracy, step_a)
    if as_json:
        output.json_line({"sheet": state.name, "rig": rig, "kind": kind, **vars(made), "by_hand": reaches})
        return
    print_plan(state, made, reaches)
    if kind == "commissioning" and steps_to_clear(logbook_of(ctx), rig).repair_first:
        output.line(
            "The rig is out of use and no repair is logged yet, so this sheet will not clear it. Log the repair first (throwbook service add), then plan another sheet.",
            style="warn",
        )


@sheet.command("list")
@click.argument("rig", required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a sheet.")
@click.pass_context
def list_(ctx: click.Context, rig: str | None, as_json: bool) -> None:
    """List the sheets of RIG, or of every rig.

    \b
    Example:
      throwbook sheet list yard-loader
    """
    from throwbook.core.listing import SHEETS, Listing
    from throwbook.jobs.sheets import listed

    found = listed(logbook_of(ctx), rig)
    if as_json:
        for one in found:
            state = one.state
            output.json_line(
                {
                    "sheet": state.name,
                    "rig": state.sheet.rig,
                    "kind": state.sheet.kind,
                    "planned_at": state.sheet.at.isoformat(),
                    "day": str(state.day),
                    "lock_throws": one.locks,
                    "unlock_throws": one.unlocks,
                    "state": state.state,
                    "no_since": one.no_came,
                    "signed": (state.decision.signed if state.decision else "") or None,
                    "sealed": state.sealed,
                }
            )
    elif found:
        shown = Listing.of(SHEETS, ("sheet", "day", "kind", "throws", "state", "signed"))
        output.table(shown.heads, [shown.row(one) for one in found], right=shown.right)
    else:
        output.line("No sheet yet: 'throwbook sheet plan RIG --kind commissioning' plans one.")


@sheet.command(short_help="Show a sheet, and what is still missing for an acceptance.")
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def show(ctx: click.Context, name: str, as_json: bool) -> None:
    """Show sheet NAME: plan, answers, throws, what was seen, and what is still missing for an acceptance.

    \b
    Example:
      throwbook sheet show yard-loader-3
    """
    from throwbook.jobs.sheets import view

    found = view(logbook_of(ctx), name)
    if as_json:
        output.json_line(sheet_json(found))
    else:
        print_sheet(found)


for command in (answer, leave_out, reassign, rejudge, see, accept, reject):
    sheet.add_command(command)
