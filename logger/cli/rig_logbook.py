"""``rig add``, ``rig list``: rigs in the logbook. They hang on the group in ``logger.cli.rigs``."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli import output
from logger.cli.shared import by_option, logbook_of, now, waiting, who
from logger.core.quantities.plain import counted, for_shell

if TYPE_CHECKING:
    from logger.jobs.rig_list import Listed, RigHistory


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--reason", default="", metavar="TEXT", help="Why it stands for the version that is there.")
@by_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def add(ctx: click.Context, file: Path, reason: str, by: str | None, as_json: bool) -> None:
    """Put the rig of FILE into the logbook (the first one starts the logbook), or a new version of it.

    \b
    Example:
      throwbook rig add yard-loader.toml
    """
    from logger.jobs.rig_list import add_rig

    done = add_rig(logbook_of(ctx), file, who(by), now(), reason, waiting)
    name = done.revision.rig
    if as_json:
        output.json_line(
            {"rig": name, "new": done.new, "revised": done.revised, "revision": done.revision.id}
        )
    elif not done.new:
        output.line(f"Rig {name} is in the logbook as it stands in {file}; nothing changed.")
    elif done.revised:
        output.line(f"Rig {name}: new version; trials judged before keep the one they were judged by.")
    else:
        output.line(f"Rig {name} added. Next: throwbook sheet plan {for_shell(name)} --kind commissioning")


@click.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a rig.")
@click.pass_context
def list_(ctx: click.Context, as_json: bool) -> None:
    """Show every rig: status, trials so far, last throw, next check.

    \b
    Example:
      throwbook rig list
    """
    from logger.jobs.rig_list import list_rigs

    found = list_rigs(logbook_of(ctx), now().date())
    if as_json:
        for each in found:
            output.json_line(_record(each))
        return
    if not found:
        output.line("No rig yet: 'throwbook rig add FILE.toml' adds one.")
        return
    output.table(
        ["rig", "status", "commissioned", "throws", "last", "next check"],
        [_row(each) for each in found],
        right=[3],
    )


def _row(each: "Listed") -> list[str | output.Cell]:
    from logger.core.standing.status_words import STYLE, short

    level = each.standing.status.level
    said = short(each.standing.status, each.standing.commissioned)
    check = each.standing.next_check
    return [
        each.name,
        output.Cell(said, STYLE[level] if said == level else "warn"),
        "yes" if each.standing.commissioned else "no",
        str(each.trials),
        each.last_trial.date().isoformat() if each.last_trial else "-",
        output.Cell(check.sentence, "bad" if check.overdue else ""),
    ]


def _record(each: "Listed") -> dict[str, Any]:
    from logger.cli.standing import standing_json

    last = each.last_trial.isoformat() if each.last_trial else None
    return standing_json(each.standing) | {"trials": each.trials, "last_trial": last}


def print_history(found: "RigHistory") -> None:
    """What the logbook holds of one rig; for ``rig show NAME``."""
    from logger.cli.standing import print_standing

    print_standing(found.standing)
    last = found.last_trial.date().isoformat() if found.last_trial else "no date known"
    output.line(
        f"{counted(found.trials, 'throw')} logged" + (f", the last on {last}" if found.trials else "")
    )
    if len(found.revisions) > 1:
        latest = found.revisions[-1]
        output.line(
            f"rig file: version {len(found.revisions)}, since {latest.at.date()}, because {latest.reason}"
        )
    for baseline in found.baselines:
        output.line(
            f"baseline {baseline.direction}: {len(baseline.trials)} throws, frozen {baseline.at.date()}: {baseline.reason}"
        )
    if found.sheets:
        output.table(
            ["sheet", "kind", "planned", "state", "signed"],
            [
                [
                    each.name,
                    each.sheet.kind,
                    each.sheet.at.date().isoformat(),
                    each.state,
                    each.decision.signed if each.decision else "",
                ]
                for each in found.sheets
            ],
        )


def history_json(found: "RigHistory") -> dict[str, Any]:
    """The same as one JSON object; stable keys."""
    from logger.cli.standing import standing_json

    return standing_json(found.standing) | {
        "trials": found.trials,
        "last_trial": found.last_trial.isoformat() if found.last_trial else None,
        "sheets": [
            {"sheet": each.name, "kind": each.sheet.kind, "state": each.state} for each in found.sheets
        ],
        "services": len(found.services),
        "baselines": [
            {
                "direction": each.direction,
                "throws": len(each.trials),
                "at": each.at.isoformat(),
                "reason": each.reason,
            }
            for each in found.baselines
        ],
        "revisions": len(found.revisions),
    }
