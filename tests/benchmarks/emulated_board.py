"""From compiled firmware to a verdict: how far the travel time is off, on each sensor.

    python -m tests.benchmarks.emulated_board

Prints flash and RAM of both sketches, then a table. The strokes are scripted; their edges fall anywhere between two
samples (fixed seed). Exit code 1 when an error is above two sample periods, or a sample is lost.
"""

import random
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from tests.benchmarks.table import Row, all_met, load, print_table
from tests.firmware.emulator.boards import BOARDS
from tests.firmware.emulator.harness import emulated_board
from tests.firmware.emulator.strokes import Stroke, script, stroke_points
from tests.firmware.test_judged_trials import RIG_FILE
from tests.firmware.tools import build_host, build_sketches
from throwbook.files.rig_file import read_rig
from throwbook.jobs.record import Recording, RecordPlan

RATE_HZ = 200
STROKES = 3
SECONDS = 8.0


def main() -> int:
    dice = random.Random(4)
    folder = Path(tempfile.mkdtemp(prefix="emulated-board-"))
    build_sketches(folder)
    build_host(folder)
    (folder / "rig.toml").write_text(RIG_FILE)
    rig = read_rig(folder / "rig.toml")
    print((folder / "sizes.txt").read_text())
    print(
        f"{'sensor':8} {'scripted s':>10} {'measured s':>10} {'error ms':>8} {'limit ms':>8} {'lost':>4} {'x real time':>11}"
    )
    missed, errors_ms, lost = 0, [], 0
    for sensor in BOARDS:
        for _ in range(STROKES):
            stroke = Stroke(start_s=1.2 + dice.random() / RATE_HZ, end_s=6.2 + dice.random() / RATE_HZ)
            text = script(sensor, stroke_points(stroke, SECONDS))
            with emulated_board(folder / "host", folder, sensor, text, SECONDS, folder) as board:
                board.go()
                began_s = time.perf_counter()
                plan = RecordPlan(board.port, rig, "lock", folder, rate_hz=RATE_HZ)
                recorded = Recording(plan, now=lambda: datetime.now(UTC)).run()
                took_s = time.perf_counter() - began_s
            scripted_s = stroke.end_s - stroke.start_s
            assert recorded.assessment is not None
            measured = recorded.assessment.figures.travel_time_s
            measured_s = measured.value if measured else float("nan")
            error_s = abs(measured_s - scripted_s)
            errors_ms.append(1000 * error_s)
            lost += recorded.lost
            missed += not error_s <= 2 / RATE_HZ or recorded.lost > 0
            assert recorded.trace is not None
            print(
                f"{sensor:8} {scripted_s:10.4f} {measured_s:10.4f} {1000 * error_s:8.2f} {2000 / RATE_HZ:8.1f} "
                f"{recorded.lost:4d} {recorded.trace.time_s[-1] / took_s:11.1f}"
            )
    said = f"{min(errors_ms):.1f} to {max(errors_ms):.1f} ms, {lost} samples lost"
    rows = [
        Row(f"travel time error, {len(errors_ms)} strokes on 3 sensors", "10 ms, none lost", said, not missed)
    ]
    print_table(f"Compiled firmware in an emulator, to the verdict ({load()})", rows)
    return all_met(rows)


if __name__ == "__main__":
    sys.exit(main())
