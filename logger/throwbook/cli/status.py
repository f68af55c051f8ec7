"""The commands status and order: the status of a rig, its open orders, and the steps to clear them."""

from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.options import by_option, logbook_of, needed, now, who
from throwbook.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from throwbook.core.sizing.sizing import Gap
    from throwbook.jobs.latch import RigStatus


def print_now(logbook: str | None, rig: str, today: "date", whole: bool = True) -> None:
    """Where the rig stands, read from the logbook; ``whole``: with the reasons and the steps of the way down."""
    from throwbook.jobs.find import opened
    from throwbook.jobs.latch import rig_status
    from throwbook.jobs.steps_to_clear import gaps_in, steps_said

    with opened(logbook, read_only=True) as book:
        found = rig_status(book, rig, today)
        steps = steps_said(book, rig, found.status) if whole else None
        gaps = gaps_in(book, rig)
    print_rig_status(found, steps, gaps)


def print_rig_status(
    found: "RigStatus", steps: "Sequence[str] | None" = None, gaps: "Sequence[Gap]" = ()
) -> None:
    """The headline and what it doesn't cover; with ``steps``, those of the way down, also the reasons."""
    from throwbook.core.sizing.sizing import coverage_line

    _print_status(found, steps)
    if gaps:
        output.line(coverage_line(gaps), style="warn", indent=2)


def _print_status(found: "RigStatus", steps: "Sequence[str] | None") -> None:
    from throwbook.core.sheets.conditions import CAUTION
    from throwbook.core.status.status_text import (
        STYLE,
        caution,
        headline,
        pending,
        reasons,
        refused,
    )

    style = STYLE[found.status.level]
    if found.practice:
        output.line(CAUTION, style="warn")
    output.line(
        f"{found.rig}: {headline(found.status, found.commissioned, found.next_check.sentence)}", style=style
    )
    warning = caution(found.status)
    if warning:
        output.line(warning, style="bad", indent=2)
    if steps is None:
        for text in pending(found.status):
            output.line(text, indent=2)
        return
    for text in reasons(found.status):
        output.line(text, indent=2)
    for text in refused(found.status):
        output.line(text, style="warn", indent=2)
    for number, step in enumerate(steps, start=1):
        output.line(f"step {number}: {step}", indent=2)


def print_of_no_rig(logbook: str | None, rigs: "Iterable[str]") -> None:
    """Unfinished recordings of none of these rigs: of a rig file, or of nobody knows which."""
    from throwbook.jobs.unfinished import of_no_rig, unfinished_recordings

    for one in of_no_rig(unfinished_recordings(logbook), rigs):
        whose = f"rig {one.rig}" if one.rig else "nobody knows which rig"
        output.line(f"{whose}: {one.sentence}: throwbook record --recover", style="warn")


def rig_status_json(found: "RigStatus") -> dict[str, Any]:
    """One JSON object; stable keys."""
    from throwbook.core.status.status_text import headline
    from throwbook.core.wording import BOTH_PINS

    check = found.next_check
    return {
        "rig": found.rig,
        "status": found.status.level,
        "commissioned": found.commissioned,
        "practice": found.practice,
        "sentence": headline(found.status, found.commissioned, found.next_check.sentence),
        "caution": BOTH_PINS,
        "open": [
            {
                "ids": list(one.ids),
                "cause": one.cause,
                "level": one.level,
                "sentence": one.sentence,
                "needs": list(one.needs),
            }
            for one in found.status.open
        ],
        "pending": [
            {"level": one.level, "sentence": one.sentence, "step": one.step, "journal": one.journal or None}
            for one in found.status.pending
        ],
        "not_counting": [
            {"order": one.order, "raised": one.raised, "because": list(one.because)}
            for one in found.status.refused
        ],
        "next_check": {
            "on": check.on.isoformat() if check.on else None,
            "machine_hours_h": check.hours_h,
            "cycles": check.cycles,
            "overdue": check.overdue,
            "sentence": check.sentence,
        },
    }


@click.command()
@click.argument("rig", required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a rig.")
@click.pass_context
def status(ctx: click.Context, rig: str | None, as_json: bool) -> None:
    """Show the status of RIG (default: every rig), its open orders, and the steps to clear them.

    in service, watch, restricted, do not use: tightened at once, eased only by a signed clearance.

    \b
    Example:
      throwbook status yard-loader
    """
    from throwbook.jobs.find import opened, rig_meant
    from throwbook.jobs.latch import rig_status
    from throwbook.jobs.steps_to_clear import gaps_in, steps_said

    with opened(logbook_of(ctx), read_only=True) as book:
        names = [rig_meant(book, rig)] if rig else book.rig_names()
        found = [rig_status(book, name, now().date()) for name in names]
        gaps = {name: gaps_in(book, name) for name in names}
        steps = {one.rig: () if as_json else steps_said(book, one.rig, one.status) for one in found}
    for one in found:
        if as_json:
            not_covered = [gap.sentence for gap in gaps[one.rig]]
            output.json_line(rig_status_json(one) | {"not_covered": not_covered})
        else:
            print_rig_status(one, steps[one.rig], gaps[one.rig])
    if not rig and not as_json:
        print_of_no_rig(logbook_of(ctx), names)
    if not found and not as_json:
        output.line("No rig yet: 'throwbook rig add FILE.toml' adds one.")


@click.group()
def order() -> None:
    """Tighten the status of a rig (raise), clear it (clear), see every order (list)."""


@order.command("raise")
@click.argument("rig")
@click.option("--cause", help="What was seen. 'throwbook order causes' lists the causes.")
@click.option("--because", "--reason", "because", help="What was seen, in your words.")
@by_option
@click.pass_context
def raise_(ctx: click.Context, rig: str, cause: str | None, because: str | None, by: str | None) -> None:
    """Tighten the status of RIG at once, because of what a person saw.

    \b
    Example:
      throwbook order raise yard-loader --cause damage --because "left pin bent" --by "M. K."
    """
    from throwbook.core.status.latch import CAUSES
    from throwbook.jobs.latch import raise_by_hand

    cause = needed(cause, "--cause", "What was seen", tuple(CAUSES))
    because = needed(because, "--because", "In your words")
    moment = now()
    raise_by_hand(logbook_of(ctx), rig, cause, because, who(by), moment)
    print_now(logbook_of(ctx), rig, moment.date())


@order.command("causes")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a cause.")
def causes(as_json: bool) -> None:
    """List the causes that tighten a status, with that status.

    \b
    Example:
      throwbook order causes
    """
    from throwbook.core.status.latch import CAUSES

    if as_json:
        for name, (level, sentence) in CAUSES.items():
            output.json_line({"cause": name, "level": level, "sentence": sentence})
        return
    output.table(["cause", "status", "means"], [[name, *row] for name, row in CAUSES.items()])


@order.command("list")
@click.argument("rig")
@click.option("--json", "as_json", is_flag=True, help="One JSON object an order.")
@click.pass_context
def list_(ctx: click.Context, rig: str, as_json: bool) -> None:
    """List every order of RIG, oldest first.

    The times are by the clock of the computer that wrote each order.

    \b
    Example:
      throwbook order list yard-loader
    """
    from throwbook.core.status.latch import level_of, sentence_of
    from throwbook.jobs.find import opened, rig_meant

    with opened(logbook_of(ctx), read_only=True) as book:
        orders = book.orders(rig_meant(book, rig))
    if as_json:
        for one in orders:
            output.json_line(
                {
                    "id": one.id,
                    "at": one.at.isoformat(),
                    "by": one.by,
                    "action": "clear" if one.clears else "raise",
                    "level": None if one.clears else level_of(one),
                    "cause": None if one.clears else one.cause,
                    "because": one.because,
                    "trial": one.trial,
                    "sheet": one.sheet,
                    "service": one.service,
                    "clears": list(one.clears),
                    "cause_found": one.details.get("cause_found"),
                    "signed": one.signed or None,
                }
            )
        return
    rows = []
    for one in orders:
        what = f"clears {', '.join(name[:8] for name in one.clears)}" if one.clears else level_of(one)
        why = one.because if one.clears else sentence_of(one)
        rows.append([one.id[:8], f"{one.at:%Y-%m-%d %H:%M}", one.by, what, why, one.signed])
    output.table(["order", "written", "by", "does", "because", "signed"], rows)


@order.command(short_help="Clear orders by a signed clearance.")
@click.argument("rig")
@click.option(
    "--order", "orders", multiple=True, metavar="ID", help="Open order that it clears (repeat for more)."
)
@click.option("--all", "every", is_flag=True, help="Clear every order that is open now.")
@click.option("--because", "--reason", "because", help="The reason.")
@click.option("--cause-found", metavar="TEXT", help="Cause found (for 'do not use').")
@click.option("--service", metavar="ID", help="Service entry with the repair (for 'do not use').")
@click.option(
    "--sheet", metavar="NAME", help="Accepted commissioning sheet made after it (for 'do not use')."
)
@click.option("--signed", metavar="NAME", help="Signed by.")
@click.pass_context
def clear(
    ctx: click.Context,
    rig: str,
    orders: tuple[str, ...],
    every: bool,
    because: str | None,
    cause_found: str | None,
    service: str | None,
    sheet: str | None,
    signed: str | None,
) -> None:
    """Clear open orders of RIG by a signed clearance that names them.

    'do not use' is cleared in one way only. Find the cause and log the repair. Plan a full commissioning sheet after
    both, accept it and sign. If anything is missing, the clearance is refused and nothing changes.

    \b
    Examples:
      throwbook order clear yard-loader --all --because "dry pins, greased, three clean checks" --signed "M. K."
      throwbook order clear yard-loader --all --because "repaired and proved" --cause-found "clevis pin sheared"
          --service 3f2a9c --sheet yard-loader-4 --signed "M. K."
    """
    from throwbook.core.status.latch import DO_NOT_USE, REPAIR
    from throwbook.core.wording import SHOWN_AT
    from throwbook.jobs import latch
    from throwbook.jobs.find import opened
    from throwbook.jobs.unfinished import refuse_while_unjudged

    moment = now()
    with opened(logbook_of(ctx), read_only=True) as book:
        book.rig(rig)
        refuse_while_unjudged(book, rig, "not cleared")
        before = latch.status(book, rig)
    if not before.open:
        raise InputError("no order is open", rig, "There is nothing to clear.")
    if every:
        orders = tuple(one.ids[0] for one in before.open)
    if not orders:
        raise InputError("no order to clear is named", rig, "Give --order ID for each, or --all.")
    if before.level == DO_NOT_USE:
        for text in SHOWN_AT["clearing"]:
            output.line(text, style="warn")
        cause_found = needed(cause_found, "--cause-found", "Cause found")
        if any(REPAIR in one.needs for one in before.open):
            service = needed(service, "--service", "Service entry with the repair (its id)")
        sheet = needed(sheet, "--sheet", "Recommissioning sheet")
    brought = latch.Clearing(
        orders,
        needed(signed, "--signed", "Signed by (your name)"),
        needed(because, "--because", "Reason"),
        cause_found or "",
        service or "",
        sheet or "",
    )
    latch.clear(logbook_of(ctx), rig, brought, brought.signed, moment)
    print_now(logbook_of(ctx), rig, moment.date())
