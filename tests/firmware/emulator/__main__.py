"""One board on the emulator, to talk to from another terminal: a throw every twenty seconds.

    python -m tests.firmware.emulator NAME [--seconds 120]

Builds the sketches and the emulator, says on which port the board is, and runs it in real time. NAME is a row of
``boards.BOARDS``. Ends with Ctrl-C, or after that many seconds of the board's time.
"""

import argparse
import tempfile
import threading
from pathlib import Path

from tests.firmware.emulator.boards import BOARDS
from tests.firmware.emulator.harness import REAL_TIME, emulated_board
from tests.firmware.emulator.strokes import Stroke, script, stroke_points
from tests.firmware.tools import build_host, build_sketches

EVERY_S = 20.0


def main() -> None:
    """Build, run, wait."""
    asked = argparse.ArgumentParser(prog="python -m tests.firmware.emulator")
    asked.add_argument("name", choices=BOARDS)
    asked.add_argument("--seconds", type=float, default=120.0)
    given = asked.parse_args()
    points = []
    for number in range(int(given.seconds / EVERY_S)):
        begin_s = number * EVERY_S
        stroke = Stroke(begin_s + 3.0, begin_s + 14.5)
        points += [row for row in stroke_points(stroke, begin_s + EVERY_S) if row[0] >= begin_s]
    with tempfile.TemporaryDirectory(prefix="emulated-board-") as name:
        folder = Path(name)
        build_sketches(folder)
        build_host(folder)
        print((folder / "sizes.txt").read_text("utf-8"))
        text = script(given.name, points)
        with emulated_board(
            folder / "host", folder, given.name, text, given.seconds, folder, REAL_TIME, given.seconds + 600
        ) as board:
            print(
                f"{given.name} is on {board.port}; in another terminal: throwbook board find --port {board.port}"
            )
            board.go()
            pause = threading.Event()
            while not board.done():
                pause.wait(0.2)


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:
        print()
