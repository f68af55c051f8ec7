"""``throwbook board bench``: an actuator on the bench against its data sheet."""

from typing import TYPE_CHECKING

import click

from logger.cli import output
from logger.cli.shared import logbook_of

if TYPE_CHECKING:
    from logger.jobs.bench import BenchResult

EXAMPLE = """\b
Examples:
  throwbook board bench --rig quarry-loader.toml bench/lock-1.csv bench/unlock-1.csv
  throwbook board bench --sheet quarry-loader-1
"""


@click.command(epilog=EXAMPLE, short_help="An actuator off the machine, judged.")
@click.option("--rig", "rig_ref", metavar="NAME-or-FILE.toml", help="The rig whose actuator it is.")
@click.option("--sheet", metavar="ID", help="A bench sheet of the logbook instead of files.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.argument("files", nargs=-1, metavar="[FILE...]")
@click.pass_context
def bench(
    ctx: click.Context, rig_ref: str | None, sheet: str | None, as_json: bool, files: tuple[str, ...]
) -> int:
    """Judge an actuator off the machine: no-load current, full stroke time, limit switches, both ways.

    Each FILE is one full stroke without load. The throws also give this actuator's own motor line, better known than
    from its data sheet. Exit code 1: it fails.
    """
    from logger.jobs.bench import bench_of_files, bench_of_sheet
    from logger.jobs.rigsource import find_rig

    if sheet:
        found = bench_of_sheet(logbook_of(ctx), sheet)
    elif rig_ref and files:
        found = bench_of_files(find_rig(rig_ref, logbook_of(ctx)).rig, files)
    else:
        raise click.UsageError("give --rig and trace files, or --sheet")
    if as_json:
        output.json_line(_record(found))
        return 0
    _show(found)
    return 1 if found.test.verdict == "fail" else 0


def _record(found: "BenchResult") -> dict[str, object]:
    test = found.test
    return {
        "rig": found.rig.name,
        "verdict": test.verdict,
        "because": test.because,
        "checks": [
            {
                "name": one.name,
                "value": one.measured.value if one.measured else None,
                "value_u": one.measured.u if one.measured else None,
                "unit": one.unit,
                "limit": one.limit,
                "side": one.side,
                "limit_from": one.limit_from,
                "decision": one.decision,
            }
            for one in test.checks
        ],
        "cut_off": {one.direction: one.decision for one in test.cut_offs},
        "throws_used": test.throws_used,
        "r_ohm": test.line.r_ohm,
        "r_ohm_u": 2 * test.line.u_r * test.line.r_ohm,
        "k_e_v_s_per_m": test.line.k_e_v_s_per_m,
        "k_e_v_s_per_m_u": 2 * test.line.u_k_e * test.line.k_e_v_s_per_m,
        "no_load_current_a": test.line.i0_a,
        "no_load_current_a_u": 2 * test.line.u_i0 * test.line.i0_a,
        "rating": found.rating,
    }


def _show(found: "BenchResult") -> None:
    from logger.core.quantities.number_text import limit_text, measured_text

    test = found.test
    output.line(f"Bench test of {found.rig.name}: {test.verdict}", style=_STYLE[test.verdict])
    output.line(f"{test.because[:1].upper()}{test.because[1:]}.")
    output.line()
    output.table(
        ("checked", "measured", "limit", "decision"),
        [
            (
                one.name.replace("_", " "),
                measured_text(one.measured, "" if one.unit == "1" else one.unit),
                f"{'at most' if one.side == 'max' else 'at least'} {limit_text(one.limit, one.side, one.unit.replace('1', ''))}",
                output.Cell(one.decision, _STYLE.get(one.decision, "")),
            )
            for one in test.checks
        ],
        right=(1, 2),
    )
    for one in test.cut_offs:
        output.line(one.say, style=_STYLE[one.decision])
    if found.rating:
        line = test.line
        output.line()
        output.line(f"Its own motor line, from {test.throws_used} throws:", style="heading")
        output.line(f"winding and leads {line.r_ohm:.3g} ohm (+/-{200 * line.u_r:.0f} %)", indent=2)
        output.line(f"back-EMF {line.k_e_v_s_per_m:.4g} V s/m (+/-{200 * line.u_k_e:.1f} %)", indent=2)
        output.line(f"friction costs {line.i0_a:.3g} A (+/-{200 * line.u_i0:.0f} %)", indent=2)
        output.line("To judge this rig by it, write into [actuator] of its rig file and add it again:")
        for name, value in found.rating.items():
            output.line(f'{name} = "{value}"', indent=2)


_STYLE = {"pass": "good", "fail": "bad", "undecided": "warn"}
