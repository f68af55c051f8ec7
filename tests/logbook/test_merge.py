"""Merging is the union of rows: whichever way round, however often."""

import hashlib
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.drawn import drawn
from tests.logbook.conftest import NOW, RIG, TOML, fill, make_assessment, make_trace
from tests.raw_file import raw
from throwbook.core.records import Calibration, Order, Photograph, PinAnswers, Placement, Service
from throwbook.errors import InputError, OutsideError
from throwbook.jobs.restore import rows_said
from throwbook.logbook import open_logbook
from throwbook.logbook.integrity import check
from throwbook.logbook.merge import merge
from throwbook.logbook.schema import BY_NAME, TABLES, fact

ACTIONS = (
    "rig",
    "sheet",
    "trial",
    "judge",
    "sight",
    "photograph",
    "decide",
    "order",
    "clear",
    "serve",
    "correct",
    "calibrate",
    "move",
)
histories = st.lists(
    st.tuples(st.sampled_from(ACTIONS), st.integers(0, 3), st.integers(-50, 50)), max_size=12
)


def act(book, action, number, minutes):
    """One thing a person does in one of the copies, by whatever clock that copy has."""
    now = NOW + timedelta(minutes=minutes)
    by = f"person {number}"
    sheets = book.sheets(RIG)
    trials = book.trials(rig=RIG)
    if action == "rig":
        book.add_rig(RIG, TOML + f"# {number}\n", by, now)
    elif action == "sheet":
        book.plan_sheet(RIG, "spot", {"n": number}, by, now)
    elif action == "order":
        book.add_order(Order(RIG, "do not use", "stall", "stood still", now, by))
    elif action == "serve":
        book.add_service(Service(RIG, f"work {number}", now, by))
    elif action == "calibrate":
        book.add_calibration(Calibration("board-1", {"gain": number}, now, by))
    elif action == "trial" and sheets:
        trace = make_trace(number, samples=40)
        book.add_trial(sheets[-1].sheet.id, trace, make_assessment(), by, now, software_version="0.1.0")
    elif action == "judge" and trials:
        book.judge(trials[0].id, make_assessment("watch"), by, now, "0.1.0", reason=f"{number}")
    elif action == "sight" and trials:
        book.sight(trials[0].id, PinAnswers("yes", "no", "by eye"), by, now)
    elif action == "photograph" and trials:
        data = bytes([number])
        digest = hashlib.sha256(data).hexdigest()
        pin = "left" if number % 2 else "right"
        book.add_photograph(Photograph(trials[0].id, pin, digest, digest, "a.jpg", "", now, by), data)
    elif action == "decide" and sheets:
        decision = book.decide(sheets[0].sheet.id, "rejected", by, {}, by, now)
        book.seal_sheet(sheets[0].sheet.id, decision.id, now)
    elif action == "clear" and book.orders(RIG):
        clears = (book.orders(RIG)[0].id,)
        book.add_order(Order(RIG, "in service", "repaired", "new pin", now, by, clears=clears, signed=by))
    elif action == "correct" and book.services(RIG):
        old = book.services(RIG)[0]
        book.add_service(Service(RIG, f"corrected {number}", now, by, replaces=(old.id,)))
    elif action == "move" and trials and sheets:
        where = Placement(trials[0].id, sheets[-1].sheet.id, 9, now, by, replaces=(trials[0].placement.id,))
        book.place(where)


def rows_of(path):
    with open_logbook(path, read_only=True) as book:
        return {
            name: sorted(tuple(row) for row in book.read(f"SELECT * FROM {name}"))
            for name in ["rig", "trace", "picture", *(table.name for table in TABLES)]
        }


def copy(source, target):
    target.write_bytes(source.read_bytes())
    return target


def merged(into, *others):
    found = None
    with open_logbook(into) as book:
        for other in others:
            found = merge(book, other)
    return rows_of(into), found


@settings(
    max_examples=drawn(15, 3),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(histories, histories, histories)
def test_merge_is_commutative_associative_and_idempotent(tmp_path_factory, common, ours, theirs):
    folder = tmp_path_factory.mktemp("merge")
    with open_logbook(folder / "start") as book:
        book.add_rig(RIG, TOML, "M. K.", NOW)
        for step in common:
            act(book, *step)
    a, b = copy(folder / "start", folder / "a"), copy(folder / "start", folder / "b")
    for path, history in ((a, ours), (b, theirs)):
        with open_logbook(path) as book:
            for step in history:
                act(book, *step)
    ab, first = merged(copy(a, folder / "ab"), b)
    ba, second = merged(copy(b, folder / "ba"), a)
    assert ab == ba
    assert first.conflicts == second.conflicts
    again, third = merged(folder / "ab", b, a, folder / "ba")
    assert again == ab
    assert third.rows == 0
    assert third.conflicts == first.conflicts
    union = {name: set(rows_of(a)[name]) | set(rows_of(b)[name]) for name in ab}
    assert {name: set(rows) for name, rows in ab.items()} == union
    with open_logbook(folder / "ab", read_only=True) as book:
        assert book.broken_seals(RIG) == []


@pytest.fixture
def pair(tmp_path):
    """Two logbooks that were one until yesterday."""
    with open_logbook(tmp_path / "ours") as book:
        book.add_rig(RIG, TOML, "M. K.", NOW)
        fill(book, trials=2)
    copy(tmp_path / "ours", tmp_path / "theirs")
    return tmp_path / "ours", tmp_path / "theirs"


def test_the_same_files_imported_on_two_computers_are_one_set_of_trials_on_two_sheets(pair):
    ours, theirs = pair
    for path in pair:
        with open_logbook(path) as book:
            fill(book, trials=3, first_seed=70)
    with open_logbook(ours) as book:
        found = merge(book, theirs)
        assert len(book.trials(rig=RIG)) == 5
        names = [state.name for state in book.sheets(RIG)]
        assert names[0] == "quarry-loader-1"
        assert all(name.startswith("quarry-loader-2.") for name in names[1:])
        assert len(set(names)) == 3
        with pytest.raises(InputError, match="more than one sheet"):
            book.sheet("quarry-loader-2")
        assert book.sheet(names[2]).name == names[2]
    told = [conflict.what for conflict in found.conflicts]
    assert any("2 sheets have this number" in each for each in told)
    assert any("3 of its throws are also on sheet" in each for each in told)


def test_two_judgements_are_listed_only_when_they_differ(pair):
    for path, verdict in zip(pair, ("watch", "fail"), strict=True):
        with open_logbook(path) as book:
            first, second = (logged.id for logged in book.trials(rig=RIG))
            book.judge(first, make_assessment(verdict), path.name, NOW, "0.1.0", reason="again")
            book.judge(second, make_assessment("pass"), path.name, NOW, "0.1.0", reason="again")
    with open_logbook(pair[0]) as book:
        told = [conflict.what for conflict in merge(book, pair[1]).conflicts]
        assert told == [f"throw {first[:8]} has 2 judgements, made separately"]


def test_two_corrections_of_one_thing_are_both_kept_and_listed(pair):
    for path, seen in zip(pair, ("no", "not looked"), strict=True):
        with open_logbook(path) as book:
            trial = book.trials(rig=RIG)[0].id
            book.sight(trial, PinAnswers("yes", seen, "by eye"), "M. K.", NOW)
    with open_logbook(pair[0]) as book:
        found = merge(book, pair[1])
        trial = book.trials(rig=RIG)[0].id
        assert len(book.revisions(trial)[1]) == 2
        assert any("sighting of throw" in each.what for each in found.conflicts)
        book.sight(trial, PinAnswers("yes", "no", "asked both"), "M. K.", NOW, reason="settled")
        assert merge(book, pair[1]).conflicts == ()


def photographed(path, trial: int, pin: str, data: bytes):
    with open_logbook(path) as book:
        digest = hashlib.sha256(data).hexdigest()
        logged = book.trials(rig=RIG)[trial]
        row = Photograph(logged.id, pin, digest, digest, f"{path.name}.jpg", "", NOW, path.name)
        return book.add_photograph(row, data)


def test_two_photographs_of_one_pin_are_listed_only_when_they_differ(pair):
    ours, theirs = pair
    photographed(ours, 0, "left", b"a")
    photographed(theirs, 0, "left", b"b")
    photographed(ours, 0, "right", b"c")  # of both pins, each by one person
    photographed(theirs, 1, "left", b"d")
    for path in pair:
        photographed(path, 1, "right", b"e")
    with open_logbook(ours) as book:
        found = merge(book, theirs)
        trial = book.trials(rig=RIG)[0].id
    told = [conflict.what for conflict in found.conflicts]
    assert told == [f"the left pin of throw {trial[:8]} has 2 photographs, entered separately"]
    assert rows_said(found.added) == "3 photographs"
    photographed(ours, 0, "left", b"f")
    with open_logbook(ours) as book:
        assert merge(book, theirs).conflicts == ()


def test_a_logbook_is_not_merged_with_itself_or_with_something_else(pair, tmp_path):
    with open_logbook(pair[0]) as book:
        with pytest.raises(InputError, match="same logbook"):
            merge(book, pair[0])
        (tmp_path / "text").write_text("not a logbook, but long enough to have a header " * 4)
        with pytest.raises(InputError, match="not a logbook"):
            merge(book, tmp_path / "text")
        with pytest.raises(InputError, match="no such file"):
            merge(book, tmp_path / "missing")


def test_a_changed_row_does_not_come_in_and_the_other_file_is_left_alone(pair):
    ours, theirs = pair
    with open_logbook(theirs) as book:
        book.db.execute("DROP TRIGGER judgement_no_update")
        book.db.execute("UPDATE judgement SET verdict = 'fail'")
    before = theirs.read_bytes()
    with open_logbook(ours) as book, pytest.raises(InputError, match="changed after they were written"):
        merge(book, theirs)
    assert theirs.read_bytes() == before


def test_changed_samples_do_not_come_in(pair):
    ours, theirs = pair
    with open_logbook(theirs) as book:
        fill(book, trials=2, first_seed=300)
        book.db.execute("DROP TRIGGER trace_no_update")
        book.db.execute("UPDATE trace SET data = (SELECT data FROM trace WHERE rowid = 1) WHERE rowid = 4")
    with open_logbook(ours) as book, pytest.raises(InputError, match="1 records of samples were changed"):
        merge(book, theirs)


def test_a_logbook_of_an_older_version_is_merged_and_left_at_its_version(pair, tmp_path):
    from pathlib import Path

    old = tmp_path / "old"
    with raw(old) as db:
        db.executescript((Path(__file__).parent / "past" / "v1.sql").read_text("utf-8"))
    before = old.read_bytes()
    with open_logbook(pair[0]) as book:
        assert merge(book, old).added["trial"] == 2
    assert old.read_bytes() == before


def with_a_row_nobody_can_read(path) -> str:
    """A logbook whose answers hold no JSON, under the very id that this content gives; gives that id."""
    with open_logbook(path) as book:
        book.add_rig(RIG, TOML, "M. K.", NOW)
        sheet = book.plan_sheet(RIG, "spot", {}, "M. K.", NOW)
        table = BY_NAME["answers"]
        content = {"answers": "ambient: cold", "at": NOW.isoformat(), "by": "M. K.", "reason": ""}
        values = {name: {"sheet": sheet.id, "replaces": "[]", **content}[name] for name in table.columns}
        row = {"id": fact(table, values).id, **values}
        names = ", ".join(f'"{name}"' for name in row)
        book.db.execute(f"INSERT INTO answers ({names}) VALUES (?, ?, ?, ?, ?, ?, ?)", list(row.values()))
    return row["id"]


def test_a_row_nobody_can_read_does_not_come_in_and_is_named(tmp_path):
    row_id = with_a_row_nobody_can_read(tmp_path / "other")
    with open_logbook(tmp_path / "mine") as book:
        with pytest.raises(InputError) as refused:
            merge(book, tmp_path / "other")
        assert not book.rig_names()
    assert f"rows of answers can't be read: {row_id[:8]}" in str(refused.value)
    assert str(tmp_path / "other") in str(refused.value)


def test_a_row_nobody_can_read_is_named_by_whatever_reads_it_and_by_check(tmp_path):
    row_id = with_a_row_nobody_can_read(tmp_path / "mine")
    with open_logbook(tmp_path / "mine", read_only=True) as book:
        with pytest.raises(OutsideError) as told:
            book.sheets(RIG)
        problems = check(book).problems
    assert f"(answers {row_id[:8]})" in str(told.value)
    assert str(tmp_path / "mine") in str(told.value)
    assert (f"sheet {RIG}-1", f"a row of answers ({row_id[:8]}) can't be read") in [
        (one.where, one.what) for one in problems
    ]
