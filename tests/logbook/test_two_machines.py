"""Two machines of one name are never joined without a person's word; a copy of one logbook always is."""

from datetime import timedelta

import pytest

from tests.logbook.conftest import NOW, RIG, TOML, fill, make_assessment, make_trace
from throwbook.core.records import BaselineRecord, Order, PinAnswers, Service
from throwbook.errors import InputError
from throwbook.logbook import open_logbook
from throwbook.logbook.integrity import check
from throwbook.logbook.merge import ApartError, Terms, merge
from throwbook.logbook.schema import TABLES

LATER = NOW + timedelta(days=1)
NEW = "north-loader"
OTHERS_TOML = f'# north yard\n{TOML}\n[lock]\nname = "no rig"\n'


def a_full_life(book, first_seed, by):
    """A sheet with throws, sightings, a stall, its order, repair, a second sheet that names them, both sealed."""
    first = fill(book, trials=2, first_seed=first_seed)
    trace = make_trace(first_seed + 5, samples=60)
    stalled = book.add_trial(first.id, trace, make_assessment("fail"), by, NOW, software_version="0.1.0")
    book.sight(stalled.id, PinAnswers("yes", "no", "by eye"), by, NOW)
    book.judge(stalled.id, make_assessment("fail"), by, LATER, "0.1.0", reason="again")
    order = book.add_order(
        Order(RIG, "do not use", "stall", "it stood", NOW, by, trial=stalled.id, sheet=first.id)
    )
    repair = book.add_service(Service(RIG, "repaired", NOW, by, fixed=NOW, details={"answers": [order.id]}))
    ids = tuple(one.id for one in book.trials(rig=RIG))
    body = {"trials": list(ids), "from": {ids[0]: 1.0}}
    book.add_baseline(BaselineRecord(RIG, "lock", ids, body, NOW, by, "as new", service=repair.id))
    second = book.plan_sheet(RIG, "spot", {"answers": [order.id], "services": [repair.id]}, by, LATER)
    book.add_order(Order(RIG, "watch", "person: watch", "it creaks", LATER, by))
    for sheet in (first, second):
        decision = book.decide(sheet.id, "rejected", by, {"throws": [{"trial": stalled.id}]}, by, LATER)
        book.seal_sheet(sheet.id, decision.id, LATER)


@pytest.fixture
def yards(tmp_path):
    """Two logbooks that were each begun by themselves, each with a machine of the same name."""
    paths = tmp_path / "ours", tmp_path / "north.throwbook"
    for path, toml, seed, by in ((paths[0], TOML, 1, "M. K."), (paths[1], OTHERS_TOML, 500, "N. N.")):
        with open_logbook(path) as book:
            book.add_rig(RIG, toml, by, NOW if by == "M. K." else LATER)
            a_full_life(book, seed, by)
    return paths


def rows(path):
    with open_logbook(path, read_only=True) as book:
        return {
            table.name: sorted(str(tuple(row)) for row in book.read(f"SELECT * FROM {table.name}"))
            for table in TABLES
        }


def test_a_rig_that_both_added_is_refused_with_both_options_and_nothing_is_stored(yards):
    before = [path.read_bytes() for path in yards[1:]], rows(yards[0])
    with open_logbook(yards[0]) as book, pytest.raises(ApartError) as told:
        merge(book, yards[1])
    assert f"--rename {RIG}=" in str(told.value)
    assert f"--same {RIG}" in str(told.value)
    assert ([path.read_bytes() for path in yards[1:]], rows(yards[0])) == before


def test_a_dry_run_says_what_would_come_in_and_stores_nothing(yards):
    before = rows(yards[0])
    with open_logbook(yards[0]) as book:
        shown = merge(book, yards[1], Terms(dry_run=True))
        assert (shown.apart, shown.added["trial"], shown.added["sheet"]) == ((RIG,), 3, 2)
        assert shown.conflicts
        shown = merge(book, yards[1], Terms({RIG: NEW}, dry_run=True))
        assert (shown.apart, shown.added["rig"], shown.conflicts) == ((), 1, ())
    assert rows(yards[0]) == before


def test_a_renamed_rig_stands_beside_ours_whole_sealed_and_in_order(yards):
    with open_logbook(yards[0]) as book:
        ours = [one.id for one in book.trials(rig=RIG)]
        done = merge(book, yards[1], Terms({RIG: NEW}))
        assert done.conflicts == ()
        assert book.rig_names() == [NEW, RIG]
        assert [one.id for one in book.trials(rig=RIG)] == ours
        assert check(book).problems == ()
        assert book.missing() == []
        assert book.rig(NEW).toml.splitlines()[1] == f'name = "{NEW}"'
        assert 'name = "no rig"' in book.rig(NEW).toml
        assert f"was '{RIG}'" in book.rig(NEW).reason
        assert [state.name for state in book.sheets(NEW)] == [f"{NEW}-1", f"{NEW}-2"]
        assert all(state.sealed for state in book.sheets(NEW))
        assert book.broken_seals(NEW) == []
        first, second = book.sheets(NEW)
        stall, watch = sorted(book.orders(NEW), key=lambda one: one.at)
        assert watch.previous == (stall.id,)
        assert second.sheet.plan["answers"] == [stall.id]
        [repair] = book.services(NEW)
        assert (repair.details["answers"], second.sheet.plan["services"]) == ([stall.id], [repair.id])
        throws = book.trials(rig=NEW)
        assert {one.id for one in throws} >= {stall.trial}
        assert first.decision.statement["throws"] == [{"trial": stall.trial}]
        assert len(book.revisions(stall.trial)[2]) == 2
        [baseline] = book.baselines(NEW)
        assert baseline.service == repair.id
        assert set(baseline.trials) == {one.id for one in throws} == set(baseline.body["trials"])
        assert set(baseline.body["from"]) <= set(baseline.trials)
        assert book.identity(NEW, book.trace(stall.trial)) == stall.trial
        assert book.orders_named(NEW) <= {one.id for one in book.orders(NEW)}


def test_renamed_the_same_way_again_it_adds_nothing_and_both_ways_round_agree(yards, tmp_path):
    with open_logbook(yards[0]) as book:
        merge(book, yards[1], Terms({RIG: NEW}))
        assert merge(book, yards[1], Terms({RIG: NEW})).rows == 0
        with open_logbook(tmp_path / "fresh") as fresh:
            merge(fresh, yards[1], Terms({RIG: NEW}))
            assert merge(fresh, book.path).added["rig"] == 1
            assert rows(fresh.path) == rows(book.path)


def test_ours_is_another_machine_than_theirs_for_ever(yards):
    with open_logbook(yards[0]) as book:
        merge(book, yards[1], Terms({RIG: NEW}))
        with pytest.raises(ApartError):
            merge(book, yards[1])


def test_a_person_may_say_that_it_is_one_machine_and_our_rig_file_stands_for_both(yards):
    with open_logbook(yards[0]) as book:
        merge(book, yards[1], Terms(same=(RIG,), by="M. K.", now=LATER))
        assert len(book.trials(rig=RIG)) == 6
        assert book.rig(RIG).toml == TOML
        assert "one machine with" in book.rig(RIG).reason
        assert check(book).problems == ()
        assert merge(book, yards[1]).rows == 0  # said once
    with open_logbook(yards[1]) as book:
        merge(book, yards[0])
        assert book.rig(RIG).toml == TOML


def test_copies_of_one_logbook_are_one_machine_whatever_each_did_to_its_rig_file(tmp_path):
    with open_logbook(tmp_path / "a") as book:
        book.add_rig(RIG, TOML, "M. K.", NOW)
    (tmp_path / "b").write_bytes((tmp_path / "a").read_bytes())
    for name in "ab":
        with open_logbook(tmp_path / name) as book:
            book.add_rig(RIG, f"{TOML}# {name}\n", "M. K.", LATER, name)
    with open_logbook(tmp_path / "a") as book:
        assert merge(book, tmp_path / "b").added["rig_revision"] == 1


def test_a_rig_of_which_a_row_is_missing_gets_no_other_name(yards):
    with open_logbook(yards[1]) as book:
        book.db.execute("DROP TRIGGER service_no_delete")
        book.db.execute("PRAGMA foreign_keys = OFF")
        book.db.execute("DELETE FROM service")
    with open_logbook(yards[0]) as book:
        with pytest.raises(InputError, match="a service entry: repaired is missing"):
            merge(book, yards[1], Terms({RIG: NEW}))
        assert book.rig_names() == [RIG]


@pytest.mark.parametrize(
    ("names", "match"), [({"nobody": NEW}, "no rig 'nobody'"), ({RIG: RIG}, "is in this logbook too")]
)
def test_a_name_that_cannot_be_is_refused(yards, names, match):
    with open_logbook(yards[0]) as book, pytest.raises(InputError, match=match):
        merge(book, yards[1], Terms(names))
