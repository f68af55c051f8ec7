"""The command board: find, check and calibrate a board, judge a bench test, simulate a board to practise with."""

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.diagnostics import complain
from throwbook.cli.options import (
    Quantity,
    baud_option,
    by_option,
    can_ask,
    logbook_of,
    now,
    who,
)
from throwbook.core.quantities.text import counted, for_shell

if TYPE_CHECKING:
    from throwbook.core.analysis.calibration import CalibrationPoint
    from throwbook.jobs.assess import BenchResult


BENCH_EXAMPLE = """\b
Examples:
  throwbook board bench --rig quarry-loader.toml bench/lock-1.csv bench/unlock-1.csv
  throwbook board bench --sheet quarry-loader-1
"""


@click.command(epilog=BENCH_EXAMPLE, short_help="Judge an actuator before it is mounted.")
@click.option("--rig", "rig_ref", metavar="NAME-or-FILE.toml", help="The rig whose actuator it is.")
@click.option("--sheet", metavar="ID", help="A bench sheet of the logbook instead of files.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.argument("files", nargs=-1, metavar="[FILE...]")
@click.pass_context
def bench(
    ctx: click.Context, rig_ref: str | None, sheet: str | None, as_json: bool, files: tuple[str, ...]
) -> int:
    """Judge an actuator off the machine: no-load current, full stroke time, limit switches, both ways.

    Each FILE is one full stroke with no load. The throws also give this actuator's own motor line, more exactly than
    its data sheet. Exit code 1: it fails.
    """
    from throwbook.jobs.assess import bench_of_files, bench_of_sheet
    from throwbook.jobs.find import find_rig

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
    from throwbook.core.diagnosis.bench_test import bench_limit
    from throwbook.core.quantities.rounding import judged_text, limit_text

    test = found.test
    output.line(f"Bench test of {found.rig.name}: {test.verdict}", style=_STYLE[test.verdict])
    output.line(f"{test.because[:1].upper()}{test.because[1:]}.")
    output.line()
    output.table(
        ("checked", "measured", "limit", "decision"),
        [
            (
                bench_limit(one.name),
                judged_text(one.measured, one.limit, one.side, one.unit),
                f"{'at most' if one.side == 'max' else 'at least'} {limit_text(one.limit, one.side, one.unit)}",
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
        output.line(f"Motor characteristic from {test.throws_used} throws:", style="heading")
        output.line(f"winding and leads {line.r_ohm:.3g} ohm (+/-{200 * line.u_r:.0f} %)", indent=2)
        output.line(f"back-EMF {line.k_e_v_s_per_m:.4g} V s/m (+/-{200 * line.u_k_e:.1f} %)", indent=2)
        output.line(f"no-load current {line.i0_a:.3g} A (+/-{200 * line.u_i0:.0f} %)", indent=2)
        output.line(
            "To judge the rig by it, write these values into [actuator] of the rig file and add the rig again:"
        )
        for name, value in found.rating.items():
            output.line(f'{name} = "{value}"', indent=2)


_STYLE = {"pass": "good", "fail": "bad", "undecided": "warn"}


CALIBRATE_EXAMPLE = """\b
Examples:
  throwbook board calibrate --port /dev/ttyUSB0 --instrument "clamp meter 12" --accuracy "1% + 3 digits"
  throwbook board calibrate --board bench-1 --instrument "bench meter 3" --accuracy "0.2% + 2 digits" \\
      --pair 0.00A=0.03A --pair 2.03A=2.11A --pair 4.01A=4.15A
"""


@click.command(epilog=CALIBRATE_EXAMPLE, short_help="Zero and gain against a reference meter.")
@click.option("--port", metavar="PORT", help="Serial port: the board is read while you read the meter.")
@baud_option
@click.option("--board", "board_id", metavar="ID", help="The board that the pairs were read from.")
@click.option(
    "--pair", "pairs", multiple=True, metavar="METER=BOARD", help="Readings taken together, as 2.03A=2.11A."
)
@click.option(
    "--instrument", required=True, metavar="TEXT", help="The reference meter: make, model, serial no."
)
@click.option(
    "--accuracy", required=True, metavar="TEXT", help='Its accuracy, as on its data sheet: "1% + 3 digits".'
)
@click.option("--due", type=click.DateTime(["%Y-%m-%d"]), help="When it is due again [default: in a year].")
@by_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def calibrate(ctx: click.Context, /, **given: Any) -> int:
    """Zero and gain of a board against a reference meter, at two or more steady currents.

    With --port you type the meter's reading at each current. With --pair nothing is asked. The logbook stores the
    calibration with its date, the meter and the day the next one is due. Throws from this board are judged again.
    """
    from dataclasses import asdict

    from throwbook.core.analysis.calibration import doubts
    from throwbook.jobs.calibrate import calibrated, pair, store

    if given["pairs"]:
        if not given["board_id"]:
            raise click.UsageError("--board is missing: whose readings are these?")
        board_id = given["board_id"]
        points = [pair(text, given["accuracy"], board_id) for text in given["pairs"]]
    else:
        board_id, points = _points_asked_for(given)
    today = now().date()
    due: date | None = given["due"].date() if given["due"] else None
    record = calibrated(board_id, points, given["instrument"], today, due)
    kept, judged_anew = store(record, logbook_of(ctx), who(given["by"]), now())
    line = kept.line
    if given["as_json"]:
        output.json_line(
            {
                "board": board_id,
                **asdict(line),
                "done_on": kept.done_on.isoformat(),
                "due_on": kept.due_on.isoformat(),
                "instrument": kept.instrument,
                "id": kept.id,
                "judged_anew": judged_anew,
            }
        )
        return 0
    output.line(
        f"Calibration of {board_id} against {kept.instrument}, {line.points} currents", style="heading"
    )
    output.line(
        f"gain {line.gain:.4f} (+/-{2 * line.u_gain:.4f}), zero {line.zero_a:+.4f} A (+/-{2 * line.u_zero_a:.4f} A)"
    )
    output.line(
        f"measured from {line.low_a:.2f} A to {line.high_a:.2f} A; due again on {kept.due_on.isoformat()}"
    )
    for doubt in doubts(line):
        output.line(doubt, style="warn")
    if judged_anew:
        output.line(
            f"Judged again, the earlier verdicts kept: {counted(judged_anew, 'throw')} of this board. If one of them fails now, its rig's status is tightened: throwbook status"
        )
    return 0


def _points_asked_for(given: dict[str, Any]) -> "tuple[str, list[CalibrationPoint]]":
    from throwbook.jobs.calibrate import point, read_board

    if not given["port"]:
        raise click.UsageError("give --port, or --board and --pair readings")
    if not can_ask():
        raise click.UsageError("in a pipe nothing is asked: give the readings with --pair METER=BOARD")
    points: list[CalibrationPoint] = []
    board_id = ""
    while True:
        what = "with the actuator off" if not points else "at another steady current"
        typed = click.prompt(
            f"Meter reading {what} (for example 2.03A; Enter when done)",
            default="",
            show_default=False,
            err=True,
        )
        if not typed.strip():
            return board_id, points
        shown = read_board(given["port"], baud=given["baud"])
        board_id = shown.board
        points.append(point(typed, given["accuracy"], shown))
        output.line(f"board {shown.mean_a:.4f} A (+/-{2 * shown.u_a:.4f} A) for meter {typed.strip()}")


REHEARSE_EXAMPLE = """\b
Examples:
  throwbook board rehearse --rig quarry-loader.toml
  throwbook board rehearse --rig quarry-loader.toml --fault local-bind=0.5@0.6 --trouble flipped-bits=0.001
  throwbook board rehearse --rig quarry-loader.toml --trouble reset=8 --speed 10
"""


@click.command(epilog=REHEARSE_EXAMPLE, short_help="A simulated board to practise with.")
@click.option("--rig", "rig_ref", metavar="NAME-or-FILE.toml", help="The rig to simulate.")
@click.option(
    "--fault",
    "faults",
    multiple=True,
    metavar="KIND[=SEVERITY][@PLACE]",
    help="A fault of the machine, as --list names them; repeat for more. Of one pin: @left or @right.",
)
@click.option(
    "--trouble",
    "troubles",
    multiple=True,
    metavar="KIND[=VALUE]",
    help="Trouble on the line, as --list names it; repeat for more.",
)
@click.option("--list", "list_them", is_flag=True, help="List the faults and troubles, and end.")
@click.option(
    "--first",
    type=click.Choice(["lock", "unlock"]),
    default="lock",
    show_default=True,
    help="Direction of the first throw.",
)
@click.option("--rest", type=Quantity("time"), default=4.0, help="Rest before each throw [default: 4 s].")
@click.option(
    "--ambient", type=Quantity("temperature"), default=15.0, help="Air temperature [default: 15 degC]."
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0.1, max=1000),
    default=1.0,
    help="How many times as fast as real time.",
)
@click.option("--switches", is_flag=True, help="A switch at each pin. The faults of one pin turn it on.")
@click.option("--probe", is_flag=True, help="A temperature probe beside the board.")
@click.option("--seed", type=int, default=1, show_default=True, help="The same seed gives the same machine.")
@click.option("--link", type=click.Path(path_type=Path), help="A second, fixed name for the port.")
@click.option(
    "--number",
    type=click.IntRange(0, 65535),
    help="Listen at socket://127.0.0.1:NUMBER, 0 for any free number [default on Windows: 0].",
)
@click.pass_context
def rehearse(ctx: click.Context, /, **given: Any) -> int:
    """Open a port that acts like a board on a simulated machine, until Ctrl-C.

    Each recording starts with a rest, then a throw. Lock and unlock alternate.
    """
    import signal
    import threading

    from throwbook.core.simulator import FAULTS, PIN_FAULTS
    from throwbook.jobs.find import find_rig
    from throwbook.jobs.simulated_board import (
        TROUBLES,
        Rehearsal,
        faults_from,
        rehearse,
        trouble_from,
    )

    if given["list_them"]:
        kinds = [*FAULTS.items(), *PIN_FAULTS.items()]
        output.table(("fault", "shows as", "severity"), [(name, row.sign, row.knob) for name, row in kinds])
        output.line()
        output.table(("trouble", "value"), [(name, meaning) for name, (_, meaning) in TROUBLES.items()])
        return 0
    if not given["rig_ref"]:
        raise click.UsageError("Missing option '--rig'.", ctx)
    trouble, over_range = trouble_from(given["troubles"])
    faults = faults_from(given["faults"])
    plan = Rehearsal(
        rig=find_rig(given["rig_ref"], logbook_of(ctx)).rig,
        faults=faults,
        trouble=trouble,
        temperature_c=given["ambient"],
        rest_s=given["rest"],
        first=given["first"],
        seed=given["seed"],
        speed=given["speed"],
        link=given["link"],
        number=given["number"],
        over_range=over_range,
        switches=given["switches"] or any(one.kind in PIN_FAULTS for one in faults),
        probe=given["probe"] or any(one.kind == "probe-in-sun" for one in faults),
    )
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())

    def ready(name: str) -> None:
        output.line(f"A simulated board for {plan.rig.name} is on {plan.link or name}; Ctrl-C ends it.")
        output.line(
            f"throwbook record --rig {for_shell(given['rig_ref'])} --port {plan.link or name} --direction {plan.first}"
        )
        output.flush()

    done = rehearse(plan, stop, ready)
    output.line(f"{done.injected.sent} samples sent, {done.injected.lost} lost by the simulated trouble.")
    return 0


port_option = click.option(
    "--port", metavar="PORT", required=True, help="Serial port, or socket://HOST:PORT."
)

rate_option = click.option("--rate", type=int, default=200, show_default=True, help="Samples per second.")

json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")


@click.group()
def board() -> None:
    """Find, check, calibrate and simulate current-sense boards."""


@board.command(epilog="Example: throwbook board find", short_help="The ports, and which boards answer.")
@click.option(
    "--port", "ports", multiple=True, metavar="PORT", help="Search only this port; repeat for more."
)
@click.option("--baud", "bauds", multiple=True, type=int, help="Try only this baud rate; repeat for more.")
@json_option
def find(ports: tuple[str, ...], bauds: tuple[int, ...], as_json: bool) -> int:
    """List the serial ports with what is known of each, and look for a board on each.

    Opening a port restarts many boards. That does no harm. Exit code 3: there is no board.
    """
    from throwbook.cli.diagnostics import progress
    from throwbook.jobs.board import find_boards

    with progress("asking") as report:
        found = find_boards(ports, bauds, report)
    if as_json:
        for port in found:
            identity = port.identity
            output.json_line(
                {
                    "port": port.info.device,
                    "description": port.info.description,
                    "maker": port.info.maker,
                    "serial_number": port.info.serial_number,
                    "usb_id": port.info.usb_id,
                    "board": identity.id if identity else None,
                    "firmware": identity.firmware if identity else None,
                    "channels": identity.channels if identity else None,
                    "full_scale_a": identity.full_scale_ma / 1000 if identity else None,
                    "baud": port.baud,
                    "because": port.because,
                }
            )
        return 0 if any(port.identity for port in found) else 3
    if found:
        rows = [
            (
                port.info.device,
                " ".join(filter(None, (port.info.description, port.info.maker, port.info.usb_id))),
                f"{port.identity.id} ({port.identity.firmware}, {port.identity.channels})"
                if port.identity
                else port.because,
                str(port.baud or ""),
            )
            for port in found
        ]
        output.table(("port", "details", "board", "baud"), rows, right=(3,))
    if any(port.identity for port in found):
        return 0
    driver = " Its port isn't listed? Windows' Device Manager shows a board without its driver under Other devices."
    complain(
        f"no board answers. Plug the board in, wait for its light, try again.{driver if sys.platform == 'win32' else ''} "
        "No board? throwbook board rehearse"
    )
    return 3


@board.command(
    epilog="Example: throwbook board check --port /dev/ttyUSB0 --rate 200",
    short_help="Rate, loss, zero, noise, range, clock.",
)
@port_option
@baud_option
@rate_option
@click.option("--seconds", type=Quantity("time"), default=3.0, help="Length of the check [default: 3 s].")
@json_option
def check(port: str, baud: int, rate: int, seconds: float, as_json: bool) -> int:
    """Check a board with the actuator at rest: sampling rate, lost samples, zero, noise, range, clock.

    Exit code 1: at least one check is not good.
    """
    from dataclasses import asdict

    from throwbook.jobs.board import check_board

    found = check_board(port, baud=baud, rate_hz=rate, seconds=seconds)
    if as_json:
        lines = [asdict(line) for line in found.lines]
        output.json_line(
            {"board": found.identity.id, "seconds": found.seconds, "good": found.good, "lines": lines}
        )
        return 0 if found.good else 1
    output.line(
        f"Board {found.identity.id} ({found.identity.firmware}) on {port}, {found.seconds:.1f} s at {rate}/s",
        style="heading",
    )
    for line in found.lines:
        output.line(
            f"{'ok  ' if line.good else 'LOOK'} {line.say}", style="good" if line.good else "warn", indent=2
        )
    return 0 if found.good else 1


for command in (calibrate, bench, rehearse):
    board.add_command(command)
