"""``throwbook board``: find, check, calibrate, rehearse."""

import click

from logger.cli import output
from logger.cli.board_bench import bench
from logger.cli.board_calibrate import calibrate
from logger.cli.board_rehearse import rehearse
from logger.cli.diagnostics import complain
from logger.cli.quantity import Quantity
from logger.cli.shared import baud_option

port_option = click.option(
    "--port", metavar="PORT", required=True, help="Serial port, or socket://HOST:PORT."
)
rate_option = click.option("--rate", type=int, default=200, show_default=True, help="Samples a second.")
json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")


@click.group()
def board() -> None:
    """Find, check, calibrate and rehearse current-sense boards."""


@board.command(epilog="Example: throwbook board find", short_help="The ports, and which boards answer.")
@click.option("--port", "ports", multiple=True, metavar="PORT", help="Ask only here; again for more.")
@click.option("--baud", "bauds", multiple=True, type=int, help="Try only this speed; again for more.")
@json_option
def find(ports: tuple[str, ...], bauds: tuple[int, ...], as_json: bool) -> int:
    """List the serial ports with what is known of each, and ask who is there.

    Opening a port starts many boards anew, which does them no harm. Exit code 3: there is no board.
    """
    from logger.cli.diagnostics import progress
    from logger.jobs.board import find_boards

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
        output.table(("port", "known of it", "who is there", "baud"), rows, right=(3,))
    if any(port.identity for port in found):
        return 0
    complain(
        "no board answers. Plug it in, wait for its light, try again; without one: throwbook board rehearse"
    )
    return 3


@board.command(
    epilog="Example: throwbook board check --port /dev/ttyUSB0 --rate 200",
    short_help="Rate, loss, zero, noise, range, clock.",
)
@port_option
@baud_option
@rate_option
@click.option("--seconds", type=Quantity("time"), default=3.0, help="How long to look [default: 3 s].")
@json_option
def check(port: str, baud: int, rate: int, seconds: float, as_json: bool) -> int:
    """Look at a board with the actuator at rest: rate held, loss, zero, noise, range, clock.

    Exit code 1: something isn't as it should be.
    """
    from dataclasses import asdict

    from logger.jobs.board import check_board

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
