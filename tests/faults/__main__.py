"""Every fault, really made, as one table.

    python -m tests.faults [--kills 200] [--inputs 20000] [--ends 6] [--seed 1] [--only kill|disk|other|session|fuzz|soak]

kill -9 at random moments (an equal share for each place), a full disk with different room left, and the faults that the
test-suite makes one by one; bad input for every reader (``python -m tests.faults.fuzz`` alone says more). Exit code 1 when one was not survived.
"""

import argparse
import contextlib
import io
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.faults.full_disk import COMMANDS, LEFT_KB, can_mount, strike
from tests.faults.kills import kills
from tests.faults.work import PLACES, TOP

OTHERS = (
    ("truncated file, 6 lengths", "logbook/test_open.py::test_a_truncated_logbook_is_refused_or_reported_at_every_length"),
    ("flipped bit, 100 places", "logbook/test_upkeep.py::test_a_flipped_byte_anywhere_is_found_or_changes_nothing"),
    ("row changed behind our back", "logbook/test_upkeep.py::test_a_change_behind_the_programs_back_is_found_and_its_sheet_is_named"),
    ("row and its id forged", "logbook/test_upkeep.py::test_a_row_forged_with_a_fitting_id_still_breaks_the_seal"),
    ("journal left behind", "logbook/test_open.py::test_what_stands_in_a_journal_left_behind_is_not_lost"),
    ("torn journal", "logbook/test_open.py::test_a_torn_journal_costs_only_the_step_that_was_torn"),
    ("read-only media", "logbook/test_open.py::test_read_only_media_are_read_in_place_and_writing_is_refused"),
    ("the same, old version", "logbook/test_open.py::test_an_old_logbook_on_read_only_media_is_read_from_a_private_copy"),
    ("the same, with a journal", "logbook/test_open.py::test_a_journal_left_behind_on_read_only_media_is_read_too"),
    ("folder without permission", "faults/test_places.py::test_in_a_folder_without_permission_reading_works_and_writing_is_one_line_and_exit_3"),
    ("spaces, accents, quotes in the path", "faults/test_places.py::test_any_name_of_a_folder_will_do"),
    ("wrong file as a logbook", "faults/test_places.py::test_every_writing_command_refuses_a_wrong_file_and_leaves_it"),
    ("newer logbook", "logbook/test_open.py::test_a_logbook_newer_than_the_program_is_refused_untouched"),
    ("full disk, reading only", "faults/test_full_disk.py::test_a_logbook_on_a_full_disk_can_still_be_read"),
    ("four programs at once", "logbook/test_open.py::test_two_programs_write_at_once_and_nothing_is_lost"),
    ("a program that never lets go", "logbook/test_open.py::test_a_program_that_never_lets_go_is_one_clear_line"),
    ("summer time ends", "faults/test_clocks.py::test_throws_on_both_sides_of_the_end_of_summer_time_are_in_their_true_order"),
    ("a computer back in 1970", "faults/test_clocks.py::test_a_computer_back_in_1970_still_writes_and_reads_everything"),
    ("clock set in mid-record", "faults/test_clocks.py::test_a_clock_set_in_mid_record_changes_no_time_of_the_record"),
    ("computer stood still in mid-record", "faults/test_clocks.py::test_a_computer_that_stood_still_in_mid_record_goes_on_and_counts_what_it_missed"),
    ("browser mode opened to the network", "tui/test_serve.py::test_a_real_server_lets_nobody_in_without_its_token_and_leaves_no_program_behind"),
    ("session hung up in mid-record", "faults/test_hangup.py::test_a_session_that_ends_in_mid_record_leaves_a_journal_that_is_offered_and_recovered"),
    ("terminal made tiny in mid-record", "faults/test_resized_terminal.py"),
    ("places that may only be read", "faults/test_hangup.py::test_places_that_may_only_be_read_are_one_line_and_exit_3"),
    ("port pulled in mid-record", "jobs/test_record.py::test_a_pulled_cable_keeps_what_was_recorded"),
    ("disk that hangs in mid-record", "faults/test_slow_disk.py::test_a_disk_that_hangs_in_mid_throw_ends_no_recording_and_costs_no_sample"),
    ("two programs on a slow disk", "faults/test_slow_disk.py::test_two_programs_on_a_slow_disk_both_get_their_throw_into_the_logbook"),
    ("full disk in mid-record", "jobs/test_record.py::test_a_full_disk_in_mid_record_ends_it_and_keeps_what_came"),
    ("hostile names and cells", "security/test_hostile_names.py"),
    ("512 MB of memory", "faults/test_small_computer.py"),
    ("bad file among good ones", "jobs/test_importing.py::test_one_bad_file_among_good_ones_stores_nothing"),
)  # fmt: skip

Row = tuple[str, str, int, str]
"""Fault, place, how often, outcome."""


def kill_rows(times: int, seed: int) -> Iterator[Row]:
    """kill -9 in each place."""
    share = -(-times // len(PLACES))
    for place in PLACES:
        with tempfile.TemporaryDirectory(prefix="throwbook-faults-") as folder:
            done = []
            try:
                for kill in kills(place, share, Path(folder), seed):
                    done.append(kill)
            except AssertionError as error:
                yield "kill -9", place, len(done) + 1, f"NOT SURVIVED: {error}"
                continue
        inside = sum(kill.in_the_work for kill in done)
        yield "kill -9", place, len(done), f"survived ({inside} in the midst of it, the rest just after)"


def disk_rows() -> Iterator[Row]:
    """A full disk in each place."""
    if not can_mount():
        yield "full disk", "all", 0, "not made: a small disk can only be mounted as root"
        return
    for place in COMMANDS:
        with tempfile.TemporaryDirectory(prefix="throwbook-faults-") as folder:
            try:
                done = [strike(place, left_kb, Path(folder) / f"disk {left_kb}") for left_kb in LEFT_KB]
            except AssertionError as error:
                yield "full disk", place, len(LEFT_KB), f"NOT SURVIVED: {error}"
                continue
        stopped = sum(each.code == 3 for each in done)
        yield (
            "full disk",
            place,
            len(done),
            f"survived ({stopped} times one line and exit 3, else it still fitted)",
        )


def other_rows() -> Iterator[Row]:
    """The faults that are tests by themselves."""
    import pytest

    for what, node in OTHERS:
        said = io.StringIO()
        with contextlib.redirect_stdout(said):
            code = pytest.main(["-q", "-p", "no:cacheprovider", str(TOP / "tests" / node)])
        last = said.getvalue().strip().splitlines()[-1]
        made = "survived" if "passed" in last else "not made here"
        why = next((line[1:].strip() for line in said.getvalue().splitlines() if line.startswith("E  ")), "")
        outcome = made if code == 0 else f"NOT SURVIVED: {why}"
        yield what, node.partition("::")[0], 1, f"{outcome} ({last})"


def session_rows(times: int, seed: int) -> Iterator[Row]:
    """A session that ends at moments all over a recording, in each way it can."""
    from tests.faults.broken_off import STRIKES, outcome

    for place, name in STRIKES.items():
        for how in name.hows:
            yield f"session: {how}", name.title, times, outcome(place, how, times, seed)


def fuzz_rows(inputs: int, seed: int) -> Iterator[Row]:
    """Bad input for every reader."""
    from tests.faults.fuzz import rows
    from tests.faults.readers import READERS

    for found in rows(list(READERS), inputs, seed, workers=2):
        longest = (
            f" ({found.refused} refused, longest {1000 * found.longest_s:.0f} ms, {found.grown_mb:+.0f} MB)"
        )
        yield "bad input", found.name, found.inputs, found.outcome + longest


def soak_rows(hours: float, seed: int) -> Iterator[Row]:
    """A day and a night of throws in one process."""
    from tests.faults.soak import soak

    with tempfile.TemporaryDirectory(prefix="throwbook-faults-") as folder:
        day = soak(int(hours * 60), Path(folder), seed)
    grown = f"memory {day.rows[-1][1] - day.rows[0][1]:+.0f} MB, handles {day.rows[-1][2] - day.rows[0][2]:+}"
    what = (
        f"NOT SURVIVED: {'; '.join(day.wrong)}"
        if day.wrong
        else f"survived ({grown}, every throw accounted for)"
    )
    yield "a day and a night of throws", "record, judge, keep", day.throws, what


def main() -> int:
    """Print the table as it grows."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=["kill", "disk", "other", "session", "fuzz", "soak"])
    parser.add_argument("--ends", type=int, default=6)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--inputs", type=int, default=20_000)
    asked = parser.parse_args()
    groups = {"kill": lambda: kill_rows(asked.kills, asked.seed), "disk": disk_rows, "other": other_rows}
    groups["session"] = lambda: session_rows(asked.ends, asked.seed)
    groups["fuzz"] = lambda: fuzz_rows(asked.inputs, asked.seed)
    groups["soak"] = lambda: soak_rows(asked.hours, asked.seed)
    bad = 0
    print(f"{'fault':36} {'place':26} {'times':>5}  outcome")
    for name, rows in groups.items():
        if asked.only in (None, name):
            for fault, place, times, outcome in rows():
                bad += outcome.startswith("NOT")
                print(f"{fault:36} {place:26} {times:5}  {outcome}", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
