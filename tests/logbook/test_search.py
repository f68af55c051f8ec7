"""What somebody wrote is found by its words, with SQLite's full text search and without."""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from throwbook.core.records import PinAnswers
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.errors import InputError
from throwbook.files.trace_file import read_trace
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.maintenance import add as add_service
from throwbook.jobs.rigs import add_rig
from throwbook.jobs.search import excerpt, search
from throwbook.jobs.sheets import leave_out, see
from throwbook.logbook.search import Note, _by_fts5, _by_hand, _words, matching

SAMPLES = Path(__file__).parents[2] / "sample-runs"
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)
BY = "M. K."
RIG = "yard-loader"


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """One rig with something written of every kind."""
    path = tmp_path_factory.mktemp("search") / "logbook"
    add_rig(path, SAMPLES / "yard-loader.toml", BY, NOW)
    entry = ServiceEntry(
        "",
        RIG,
        "repaired",
        date(2026, 3, 20),
        seen=Moment("squeals in the cold"),
        found=Moment("Clevis pin sheared"),
        fixed=Moment("new clevis pin, Fähre grease"),
        parts="1 pin",
    )
    first = add_service(path, entry, NOW).entry
    add_service(path, replace(entry, parts="2 pins"), NOW, corrects=first.id[:8], reason="counted wrongly")
    answers = {"worked_before": "no", "attachment": "bucket 7", "operator": "J. Doe"}
    files = [SAMPLES / "baseline" / "lock-1.csv", SAMPLES / "signs" / "stall-mid-way.csv"]
    done = import_traces(path, ImportPlan(RIG, "spot", files, answers), BY, NOW)
    locks = [one.placement.position for one in done.logged if one.direction == "lock"]
    pins = PinAnswers("yes", "no", "mirror from the left side", "not looked", "not looked")
    see(path, done.sheet.name, locks[:1], pins, BY, NOW)
    leave_out(path, done.sheet.name, locks[0], "the bucket touched the kerb", BY, NOW)
    return path


def kinds(book, *words):
    return [one.kind for one in search(book, words)]


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        (("squeals",), "service"),
        (("SHEARED",), "service"),
        (("faehre",), None),
        (("fahre",), "service"),
        (("greas",), "service"),
        (("clevis pin",), "service"),
        (("pin clevis",), None),
        (("pin", "clevis"), "service"),
        (("yard-loader", "squeals"), "service"),
        (("bucket 7",), "sheet"),
        (("kerb",), "throw"),
        (("mirror",), "pins"),
        (("reas",), None),
        (("nothing of the kind",), None),
    ],
)
def test_a_word_is_found_where_it_was_written(book, words, kind):
    assert set(kinds(book, *words)) == ({kind} if kind else set())


def test_orders_and_the_values_of_a_rig_are_found_too(book):
    assert "order" in kinds(book, "pin", "seen")
    assert "rig" in kinds(book, "stroke")


def test_a_corrected_entry_is_found_and_marked(book):
    found = search(book, ["sheared"])
    assert [(one.corrected, "2 pins" in one.text) for one in found] in (
        [(True, False), (False, True)],
        [(False, True), (True, False)],
    )
    assert {one.day for one in found} == {"2026-03-20"}
    assert [one.corrected for one in search(book, ["counted wrongly"])] == [False]


def test_a_sheet_is_found_under_the_day_of_its_throws(book):
    assert {one.day for one in search(book, ["bucket 7"])} == {
        read_trace(SAMPLES / "baseline" / "lock-1.csv").started.date().isoformat()
    }


def test_what_comes_later_is_found_at_once(book, tmp_path):
    assert search(book, ["hinge"]) == []
    entry = ServiceEntry("", RIG, "inspected", date(2026, 3, 30), seen=Moment("hinge dry"))
    add_service(book, entry, NOW)
    assert kinds(book, "hinge") == ["service"]


@pytest.mark.parametrize(
    "words",
    [
        ["pin"],
        ["PIN", "new"],
        ["clevis pin"],
        ["a*b"],
        ['"'],
        ["x AND y"],
        ["NOT"],
        ["été"],
        ["pin-"],
        ["col:pin"],
    ],
)
def test_both_ways_of_searching_find_the_same(words):
    texts = ["new Clevis pin", "pin_new", "pinned, new", "x and y", "été 2026", "a*b", "nothing", "col: pin"]
    found = [Note("service", "r", "1", "2026-01-01", text, BY, False) for text in texts]
    wanted = [split for text in words if (split := _words(text))]
    if not wanted:
        with pytest.raises(InputError, match="no word to look for"):
            matching(found, words)
        return
    by_hand = _by_hand(found, wanted)
    assert by_hand, "each of these is in one of the texts" if words != ["NOT"] else ""
    assert _by_fts5(found, wanted) == by_hand


def test_a_long_text_is_shown_where_the_word_stands():
    note = Note("rig", "r", "1", "2026-01-01", "a " * 200 + "needle " + "b " * 200, BY, False)
    shown = excerpt(note, ["needle"]).text
    assert "needle" in shown
    assert shown.startswith("... ")
    assert shown.endswith(" ...")
    assert len(shown) < 200
