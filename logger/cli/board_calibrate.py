"""``throwbook board calibrate``: zero and gain of a board against a reference meter."""

from datetime import date
from typing import TYPE_CHECKING, Any

import click

from logger.cli import output
from logger.cli.shared import baud_option, by_option, can_ask, logbook_of, now, who
from logger.core.quantities.plain import counted

if TYPE_CHECKING:
    from logger.core.stroke.calibration import CalibrationPoint

EXAMPLE = """\b
Examples:
  throwbook board calibrate --port /dev/ttyUSB0 --instrument "clamp meter 12" --accuracy "1% + 3 digits"
  throwbook board calibrate --board bench-1 --instrument "bench meter 3" --accuracy "0.2% + 2 digits" \\
      --pair 0.00A=0.03A --pair 2.03A=2.11A --pair 4.01A=4.15A
"""


@click.command(epilog=EXAMPLE, short_help="Zero and gain against a reference meter.")
@click.option("--port", metavar="PORT", help="Serial port: the board is read while you read the meter.")
@baud_option
@click.option("--board", "board_id", metavar="ID", help="The board that the pairs were read from.")
@click.option(
    "--pair", "pairs", multiple=True, metavar="METER=BOARD", help="Readings taken together, as 2.03A=2.11A."
)
@click.option("--instrument", required=True, metavar="TEXT", help="The reference meter: what and which.")
@click.option(
    "--accuracy", required=True, metavar="TEXT", help='Its accuracy, as on its data sheet: "1% + 3 digits".'
)
@click.option("--due", type=click.DateTime(["%Y-%m-%d"]), help="When it is due again [default: in a year].")
@by_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def calibrate(ctx: click.Context, /, **given: Any) -> int:
    """Zero and gain of a board against a reference meter, at two or more steady currents.

    With --port you are asked for the meter's reading at each current; with --pair nothing is asked. It goes into the
    logbook with its date, the meter and the day it is due; trials of this board are judged anew.
    """
    from dataclasses import asdict

    from logger.core.stroke.calibration import doubts
    from logger.jobs.calibrate import calibrated, pair, store

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
    output.line(f"rests on {line.low_a:.2f} A to {line.high_a:.2f} A; due again on {kept.due_on.isoformat()}")
    for doubt in doubts(line):
        output.line(doubt, style="warn")
    if judged_anew:
        output.line(
            f"Judged anew, beside the earlier judgement: {counted(judged_anew, 'throw')} of this board. What one of them "
            "fails now holds its rig: throwbook status"
        )
    return 0


def _points_asked_for(given: dict[str, Any]) -> "tuple[str, list[CalibrationPoint]]":
    from logger.jobs.calibrate import point, read_board

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
