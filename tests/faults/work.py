"""The places where a fault strikes: what a process does there, and what must be true afterwards.

Run as a program it does the work and says, line by line, what the logbook reported as done:

    python -m tests.faults.work PLACE FOLDER
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.made_pictures import noise, photo
from tests.raw_file import raw
from throwbook.core.records import PinAnswers
from throwbook.core.sheets.hand_readings import parse_lines
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs import enter, sign_off
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.logbook_care import back_up, take_in
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.sheets import see
from throwbook.logbook import migrations, open_logbook
from throwbook.logbook.integrity import check

TOP = Path(__file__).parents[2]
SAMPLES = TOP / "sample-runs"
BY = "M. K."
RIG = "yard-loader"
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)
ROUNDS = 6
PER_ROUND = 4
LINES = "lock 14.{0}s 2.1A 2.9A 12.4V both seen\nunlock 14.{0}s 2.0A 2.7A 12.4V\nlock 14.{0}s 2.1A 2.8A 12.4V"
LOOKED = PinAnswers("yes", "yes", "torch", "yes", "yes")


@dataclass(frozen=True)
class Place:
    """One place."""

    prepare: Callable[[Path], None]
    """Fill an empty folder with what the work starts from."""
    work: Callable[[Path], None]
    """Do it, saying what is done."""
    verify: Callable[[Path, list[str]], None]
    """Assert, given the lines said before the fault, that all of it is there and nothing is there by half."""


def say(*words: object) -> None:
    print(*words, flush=True)


def logbook(folder: Path) -> Path:
    return folder / "log book é.throwbook"


def start(folder: Path) -> None:
    add_rig(logbook(folder), SAMPLES / "yard-loader.toml", BY, NOW)


def throws(folder: Path, round_: int, count: int) -> list[Path]:
    """Trace files that no earlier round had: the same throws on another day."""
    made = []
    for number, source in enumerate(sorted((SAMPLES / "baseline").glob("*.csv"))[:count]):
        trace = read_trace(source)
        assert trace.started is not None
        path = folder / f"throw {round_}-{number}.csv"
        shifted = (
            trace.current_a + 1e-4 * round_
        )  # another throw: the same samples again would be the same one
        write_trace(
            replace(trace, current_a=shifted, started=trace.started + timedelta(hours=round_), head={}), path
        )
        made.append(path)
    return made


# ---- import ----


def prepare_import(folder: Path) -> None:
    start(folder)
    for round_ in range(ROUNDS):
        throws(folder, round_, PER_ROUND)


def work_import(folder: Path) -> None:
    for round_ in range(ROUNDS):
        files = [folder / f"throw {round_}-{number}.csv" for number in range(PER_ROUND)]
        done = import_traces(
            logbook(folder), ImportPlan(RIG, "seasonal", files), BY, NOW, settle=lambda _: None
        )
        assert done.sheet is not None
        say(done.sheet.name)


def verify_import(folder: Path, said: list[str]) -> None:
    with open_logbook(logbook(folder)) as book:
        names = {state.name for state in book.sheets(RIG)}
        assert set(said) <= names, "an import that was reported done is gone"
        for state in book.sheets(RIG):
            trials = book.trials(sheet=state.sheet.id)
            assert len(trials) == PER_ROUND, f"sheet {state.name} has {len(trials)} of {PER_ROUND} throws"
            for logged in trials:
                assert logged.judgement is not None
                assert len(book.trace(logged.id)) > 1000
        assert check(book).problems == ()


# ---- entry by hand ----


def work_entry(folder: Path) -> None:
    for round_ in range(ROUNDS):
        entry = enter.HandEntry(parse_lines(LINES.format(round_)), "spot", seen_how="torch")
        say(enter.enter(logbook(folder), RIG, entry, BY, NOW).state.name)


def verify_entry(folder: Path, said: list[str]) -> None:
    with open_logbook(logbook(folder)) as book:
        assert set(said) <= {state.name for state in book.sheets(RIG)}, "an entry that was reported is gone"
        for state in book.sheets(RIG):
            trials = book.trials(sheet=state.sheet.id)
            assert len(trials) == 3, f"sheet {state.name} has {len(trials)} of 3 throws"
            assert [logged.sighting is not None for logged in trials].count(True) == 1
            assert all(logged.judgement is not None for logged in trials)
        assert check(book).problems == ()


# ---- acceptance ----


def prepare_acceptance(folder: Path) -> None:
    start(folder)
    for round_ in range(3):
        order = ImportPlan(
            RIG,
            "commissioning",
            throws(folder, round_, 16),
            {"hours_since_movement": 0.5, "worked_before": "no"},
        )
        import_traces(logbook(folder), order, BY, NOW, settle=lambda _: None)


def work_acceptance(folder: Path) -> None:
    for number in range(1, 4):
        done = sign_off.accept(logbook(folder), f"{RIG}-{number}", LOOKED, BY, NOW, "new one each time")
        say(done.state.name)


def verify_acceptance(folder: Path, said: list[str]) -> None:
    with open_logbook(logbook(folder)) as book:
        states = book.sheets(RIG)
        accepted = {state.name for state in states if state.state == "accepted"}
        assert set(said) <= accepted, "an acceptance that was reported is gone"
        for state in states:
            assert state.sealed == (state.state == "accepted"), f"{state.name} is accepted without its seal"
            seen = bool(book.sightings(state.sheet.id))
            assert seen == (state.state == "accepted"), f"{state.name}: sightings without their decision"
        frozen = {record.reason for record in book.baselines(RIG)}
        assert len(book.baselines(RIG)) == 2 * len(accepted), frozen
        assert check(book).problems == ()


# ---- migration ----


def prepare_migration(folder: Path) -> None:
    """A logbook as version 1 left it, grown to some megabytes so that the safe copy takes a while."""
    with raw(logbook(folder)) as db:
        db.executescript((TOP / "tests" / "logbook" / "past" / "v1.sql").read_text("utf-8"))
        db.execute("CREATE TABLE IF NOT EXISTS ballast (data BLOB)")
        db.executemany("INSERT INTO ballast VALUES (zeroblob(?))", [(100_000,)] * 200)


def work_migration(folder: Path) -> None:
    with open_logbook(logbook(folder)) as book:
        say(book.read("PRAGMA user_version")[0][0])


def verify_migration(folder: Path, said: list[str]) -> None:
    path = logbook(folder)
    copy = path.with_name(path.name + ".v1-copy")
    version = 0
    with raw(path) as db:
        version = db.execute("PRAGMA user_version").fetchone()[0]
        columns = {row[1] for row in db.execute("PRAGMA table_info(judgement)")}
        assert ("calibration" in columns) == (version >= 2), "a step was done by half"
    assert not said or version == migrations.NEWEST
    if version > 1:
        assert copy.exists(), "the file was changed before the safe copy was whole"
    if copy.exists():
        with raw(copy) as db:
            assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            assert db.execute("PRAGMA user_version").fetchone()[0] == 1
    with open_logbook(path) as book:
        assert book.read("PRAGMA user_version")[0][0] == migrations.NEWEST
        assert len(book.trials(rig="quarry-loader")) == 2
        assert check(book).problems == ()
    assert copy.exists()


# ---- backup ----


def prepare_backup(folder: Path) -> None:
    prepare_import(folder)
    work = list(folder.glob("throw *.csv"))
    import_traces(logbook(folder), ImportPlan(RIG, "seasonal", work), BY, NOW, settle=lambda _: None)


def work_backup(folder: Path) -> None:
    for round_ in range(ROUNDS):
        say(back_up(logbook(folder), folder / f"backup {round_}", NOW).target.name)


def verify_backup(folder: Path, said: list[str]) -> None:
    for round_ in range(ROUNDS):
        target = folder / f"backup {round_}"
        assert target.exists() or target.name not in said, "a backup that was reported is gone"
        if target.exists():
            with open_logbook(target, read_only=True) as book:
                assert len(book.trials(rig=RIG)) == ROUNDS * PER_ROUND
                assert check(book).problems == ()
    with open_logbook(logbook(folder)) as book:
        assert len(book.trials(rig=RIG)) == ROUNDS * PER_ROUND
        assert check(book).problems == ()


# ---- merge ----


def prepare_merge(folder: Path) -> None:
    prepare_backup(folder)
    logbook(folder).rename(folder / "other")
    start(folder)


def work_merge(folder: Path) -> None:
    say(take_in(logbook(folder), folder / "other").added["trial"])


def verify_merge(folder: Path, said: list[str]) -> None:
    with open_logbook(logbook(folder)) as book:
        trials = len(book.trials(rig=RIG))
        assert trials in (0, ROUNDS * PER_ROUND), "a merge was done by half"
        assert trials or not said, "a merge that was reported is gone"
        assert check(book).problems == ()


# ---- photographs ----


def prepare_photographs(folder: Path) -> None:
    """A sheet of lock and unlock throws, and a photograph for every other lock throw."""
    start(folder)
    entry = enter.HandEntry(
        parse_lines("\n".join(LINES.format(n) for n in range(ROUNDS))), "spot", seen_how="torch"
    )
    enter.enter(logbook(folder), RIG, entry, BY, NOW)
    for round_ in range(ROUNDS):
        photo(folder / f"pin {round_}.jpg", image=noise(900, 700, round_), quality=80)


def work_photographs(folder: Path) -> None:
    for round_ in range(ROUNDS):
        see(
            *(logbook(folder), f"{RIG}-1", [3 * round_ + 1], LOOKED, BY, NOW),
            photographs={"left": folder / f"pin {round_}.jpg"},
        )
        say(round_)


def verify_photographs(folder: Path, said: list[str]) -> None:
    with open_logbook(logbook(folder)) as book:
        sheet = book.sheet(f"{RIG}-1").sheet.id
        positions = {one.id: one.placement.position for one in book.trials(sheet=sheet) if one.placement}
        kept = {(positions[one.trial] - 1) // 3 for one in book.photographs(sheet)}
        seen = {
            (positions[one.trial] - 1) // 3
            for one in book.sightings(sheet)
            if one.left_pin == "yes" and one.load_check == "yes"
        }
        assert set(map(int, said)) <= kept, "a photograph that was reported is gone"
        assert kept == seen, "a photograph without its answer, or an answer without its photograph"
        assert book.read("SELECT count(*) FROM picture")[0][0] == len(kept)
        assert check(book).problems == ()


PLACES = {
    "import": Place(prepare_import, work_import, verify_import),
    "entry": Place(start, work_entry, verify_entry),
    "acceptance": Place(prepare_acceptance, work_acceptance, verify_acceptance),
    "migration": Place(prepare_migration, work_migration, verify_migration),
    "backup": Place(prepare_backup, work_backup, verify_backup),
    "merge": Place(prepare_merge, work_merge, verify_merge),
    "photographs": Place(prepare_photographs, work_photographs, verify_photographs),
}


def main() -> None:
    """Wait for the word to go, so that the fault can strike in the work and not in the start of Python."""
    place, folder = PLACES[sys.argv[1]], Path(sys.argv[2])
    from throwbook.core.diagnosis import assess  # noqa: F401
    from throwbook.logbook import seals  # noqa: F401  (imported before the clock starts)

    say("ready")
    sys.stdin.readline()
    place.work(folder)
    say("end")


if __name__ == "__main__":
    main()
