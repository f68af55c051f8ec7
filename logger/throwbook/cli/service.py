"""``service``: the maintenance history of a rig."""

from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.options import by_option, logbook_of, needed, needed_day, now, reason_option, who
from throwbook.cli.status import print_now, rig_status_json
from throwbook.core.quantities.text import counted
from throwbook.errors import InputError

if TYPE_CHECKING:
    from throwbook.core.status.maintenance import ServiceEntry

COST_EXAMPLE = "For the sums by currency type an amount with its currency: 1250.50 EUR."
MOMENTS = ("seen", "found", "fixed", "verified")


@click.group()
def service() -> None:
    """Log the work on a rig, and show its history."""


@service.command()
@click.argument("rig")
@click.option(
    "--action",
    help="What was done: greased, cleaned, adjusted, repaired, replaced, rewired, inspected or other.",
)
@click.option("--on", "day", metavar="DATE", help="Day of the work [default: today].")
@click.option("--seen", metavar="TEXT", help="What was seen.")
@click.option("--seen-on", metavar="DATE", help="When.")
@click.option("--found", metavar="TEXT", help="What was found to be the cause.")
@click.option("--found-on", metavar="DATE", help="When.")
@click.option("--fixed", metavar="TEXT", help="What was done about it.")
@click.option("--fixed-on", metavar="DATE", help="When.")
@click.option("--verified", metavar="TEXT", help="How the repair was checked.")
@click.option("--verified-on", metavar="DATE", help="When.")
@click.option("--parts", default="", help="Parts used.")
@click.option("--machine-hours", metavar="HOURS", help="Hour meter: 1210h.")
@click.option("--cost", default="", help='What it cost, with the currency: "45 EUR".')
@click.option(
    "--new-stretch/--same-stretch",
    default=None,
    help="Whether the trend charts restart [default: by the action].",
)
@click.option("--due", metavar="DATE", help="Next check due on this day.")
@click.option("--due-hours", metavar="HOURS", help="... or at this reading of the hour meter: 1500h.")
@click.option("--due-cycles", type=click.IntRange(min=1), help="... or after so many lock throws.")
@click.option(
    "--corrects", default="", metavar="ID", help="Entry that this one corrects. The old one stays visible."
)
@reason_option("Reason for the correction.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@by_option
@click.pass_context
def add(ctx: click.Context, /, rig: str, as_json: bool, by: str | None, **given: Any) -> None:
    """Log a service on RIG. It is a step to clear the orders that are open now.

    \b
    Examples:
      throwbook service add yard-loader --action greased --due 2026-10-01 --by "M. K."
      throwbook service add yard-loader --action repaired --seen "stalled half way" --found "clevis pin sheared"
          --fixed "new clevis pin" --parts "1 pin" --machine-hours 1210h --by "M. K."
    """
    from throwbook.core.status.maintenance import ACTIONS
    from throwbook.core.wording import SHOWN_AT
    from throwbook.jobs.maintenance import NO_STEP
    from throwbook.jobs.maintenance import add as log

    moment = now()
    given["cost"] = given["cost"].strip()
    action = needed(given["action"], "--action", "What was done", tuple(ACTIONS))
    entry = _entry(rig, action, who(by), given, moment.date())
    done = log(logbook_of(ctx), entry, moment, given["corrects"], given["reason"])
    if as_json:
        output.json_line({**_as_json(done.entry), "standing": rig_status_json(done.rig_status)})
        return
    output.line(f"Logged as {done.entry.id[:8]}: {action} on {done.entry.on}.")
    money = done.entry.money
    if done.entry.cost and money is None:
        output.line(f"The cost is kept as typed: {done.entry.cost!r}. {COST_EXAMPLE}", style="warn", indent=2)
    elif money is not None and not money.currency:
        output.line(
            f"The cost {done.entry.cost!r} has no currency. It is added up by itself, under 'not given'.",
            style="warn",
            indent=2,
        )
    if done.entry.starts_stage:
        output.line("The trend chart restarts here. Make a new check after it; the baseline stays.", indent=2)
    if done.entry.answers:
        output.line(
            f"It belongs to {counted(len(done.entry.answers), 'open order')}. Only a signed clearance clears an order.",
            indent=2,
        )
    elif done.rig_status.status.open:
        output.line(
            "It belongs to no open order, because the work was done before the orders.",
            style="warn",
            indent=2,
        )
    if done.lacks:
        output.line(NO_STEP.format(why="; ".join(done.lacks)), style="warn", indent=2)
        correct = f"--corrects {done.entry.id[:8]} --reason TEXT"
        output.line(f"Put it right before you commission: {correct}", style="warn", indent=2)
    print_now(logbook_of(ctx), rig, moment.date())
    if done.entry.answers:
        for text in SHOWN_AT["service"]:
            output.line(text, style="warn", indent=2)


@service.command(
    "list", short_help="Show the services of a rig or of all, what they cost, and when the next check is due."
)
@click.argument("rig", required=False)
@click.option("--year", type=click.IntRange(1900, 9999), help="Only work of this year.")
@click.option("--costs", is_flag=True, help="Only the sums of the costs, by rig, year and currency.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object an entry.")
@click.pass_context
def list_(ctx: click.Context, rig: str | None, year: int | None, costs: bool, as_json: bool) -> None:
    """Show the maintenance history of RIG, or of all rigs, oldest first. For one rig it also shows when the next check is due.

    Costs are added up by rig, year and currency. A cost that can be read in two ways is left out of the sums and listed as typed.

    \b
    Examples:
      throwbook service list yard-loader
      throwbook service list --year 2026 --costs
    """
    from throwbook.core.listing import SERVICES, Listing
    from throwbook.jobs.maintenance import all_services

    entries = [one for one in all_services(logbook_of(ctx), rig) if year in (None, one.on.year)]
    if costs:
        _print_costs(entries, as_json)
        return
    if as_json:
        for entry in entries:
            output.json_line(_as_json(entry))
        return
    if rig is not None:
        print_now(logbook_of(ctx), rig, now().date(), whole=False)
    if not entries:
        output.line("No service logged yet." if year is None else f"No service logged in {year}.")
        return
    names = ("action", "what", "parts", "hours", "cost", "period", "by")
    shown = Listing.of(SERVICES, ("id", "date", *(("rig",) if rig is None else ()), *names))
    output.table(shown.heads, [shown.row(entry) for entry in entries], right=shown.right)
    if any(entry.cost for entry in entries):
        output.line()
        _print_costs(entries, as_json=False)


def _print_costs(entries: "list[ServiceEntry]", as_json: bool) -> None:
    from throwbook.core.listing import COSTS, Listing
    from throwbook.core.quantities.money import cost_sums

    sums, typed = cost_sums((one.rig, one.on.year, one.cost) for one in entries)
    if as_json:
        for each in sums:
            output.json_line(
                {
                    "rig": each.rig,
                    "year": each.year,
                    "currency": each.currency or None,
                    "cost": float(each.amount),
                    "services": each.entries,
                }
            )
        for rig, year, text in typed:
            output.json_line({"rig": rig, "year": year, "as_typed": text})
        return
    if sums:
        shown = Listing.of(COSTS, COSTS)
        output.table(shown.heads, [shown.row(each) for each in sums], right=shown.right)
    for rig, year, text in typed:
        output.line(
            f"not added up: {rig}, {year}: {text!r}. Correct it with an amount and a currency.", style="warn"
        )
    if not sums and not typed:
        output.line("No cost logged yet.")


def _entry(rig: str, action: str, by: str, given: dict[str, Any], today: Any) -> Any:
    from throwbook.core.status.maintenance import Moment, ServiceEntry

    moments = {}
    for name in MOMENTS:
        day = needed_day(given[f"{name}_on"], f"--{name}-on")
        if day is not None and not (given[name] or "").strip():
            raise InputError(f"--{name}-on has no --{name}", "service", f"Say what was {name}.")
        moments[name] = Moment((given[name] or "").strip(), day)
    return ServiceEntry(
        id="",
        rig=rig,
        action=action,
        on=needed_day(given["day"], "--on") or today,
        parts=given["parts"],
        machine_hours_h=_hours(given["machine_hours"], "--machine-hours"),
        cost=given["cost"],
        new_stretch=given["new_stretch"],
        due_on=needed_day(given["due"], "--due"),
        due_hours_h=_hours(given["due_hours"], "--due-hours"),
        due_cycles=given["due_cycles"],
        by=by,
        seen=moments["seen"],
        found=moments["found"],
        fixed=moments["fixed"],
        verified=moments["verified"],
    )


def _hours(text: str | None, option: str) -> float | None:
    """An hour meter counts hours: ``1210`` is ``1210h``."""
    from throwbook.core.sheets.conditions import answer_from

    found = answer_from("hours_since_movement", text or "", option)
    return found if isinstance(found, float) else None


def _as_json(entry: Any) -> dict[str, Any]:
    moments: dict[str, Any] = {}
    for name in MOMENTS:
        one = getattr(entry, name)
        on = one.on.isoformat() if one.on else None
        moments[name] = {"what": one.what, "on": on} if one else None
        # as the columns of an export and of the Python interface are called
        moments |= {f"{name}_what": one.what or None, f"{name}_on": on}
    return {
        "id": entry.id,
        "rig": entry.rig,
        "on": entry.on.isoformat(),
        "action": entry.action,
        **moments,
        "parts": entry.parts or None,
        "machine_hours_h": entry.machine_hours_h,
        "cost": entry.cost or None,
        "cost_amount": float(entry.money.amount) if entry.money else None,
        "cost_currency": (entry.money.currency or None) if entry.money else None,
        "starts_stretch": entry.starts_stage,
        "due_on": entry.due_on.isoformat() if entry.due_on else None,
        "due_hours_h": entry.due_hours_h,
        "due_cycles": entry.due_cycles,
        "answers": list(entry.answers),
        "by": entry.by,
    }
