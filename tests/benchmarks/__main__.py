"""Every benchmark, one after the other; or those that are named.

    python -m tests.benchmarks [NAME ...]

Each prints its own table with floors. All of them take about three quarters of an hour on two cores; ``logbook_speed``
alone builds a logbook of 100,000 trials. Figures for DEVELOPERS.md are taken on a machine that does nothing else.
"""

import subprocess
import sys

BENCHMARKS = (
    ("speed_assess", "parse and analyse against a CSV reader, start of --help"),
    ("strokes", "verdicts on single strokes of random machines"),
    ("foreign_strokes", "the same on machines and boards foreign to the simulator"),
    ("board_path", "samples a second, decoding, corrupted lines, memory"),
    ("emulated_board", "compiled sketches in an emulator, from the counts to the verdict"),
    ("seasons", "wear against weather over four years"),
    ("binding_place", "a growing binding spot: place, and named before it stalls"),
    ("fleet", "trend of one rig over 20 years, of 1,000 rigs"),
    ("logbook_speed", "a logbook of 100,000 trials"),
    ("papers", "report, blank sheet, cab card"),
    ("screen", "opening, frames, keys while recording"),
)


def main() -> int:
    known = dict(BENCHMARKS)
    asked = sys.argv[1:] or list(known)
    unknown = [name for name in asked if name not in known]
    if unknown:
        print(f"no benchmark is called {unknown[0]}; there are: {', '.join(known)}")
        return 2
    failed = []
    for name in asked:
        print(f"\n== {name}: {known[name]}", flush=True)
        if subprocess.run([sys.executable, "-m", f"tests.benchmarks.{name}"], check=False).returncode:
            failed.append(name)
    if failed:
        print(f"\nended with an error or a floor not met: {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
