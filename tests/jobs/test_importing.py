"""Import: all or nothing, the same file recognised, doubts asked about or refused."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from throwbook.errors import InputError
from throwbook.files.trace_file import read_trace, write_trace
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.rig_list import list_rigs
from throwbook.jobs.rigs import add_rig
from throwbook.logbook import open_logbook
from throwbook.logbook.integrity import check

SAMPLES = Path(__file__).parents[2] / "sample-runs"
BASELINE = sorted((SAMPLES / "baseline").glob("*.csv"))
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)
BY = "M. K."


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "logbook"
    add_rig(path, SAMPLES / "yard-loader.toml", BY, NOW)
    return path


def counts(path):
    with open_logbook(path, read_only=True) as book:
        return [
            book.read(f"SELECT count(*) FROM {name}")[0][0]
            for name in ("sheet", "trial", "trace", "latch_order")
        ]


def bring(book, *files, kind="bench", **options):
    return import_traces(book, ImportPlan("yard-loader", kind, list(files), **options), BY, NOW)


def changed(tmp_path, source, name, **changes):
    path = tmp_path / name
    write_trace(replace(read_trace(source), **changes), path)
    return path


def test_files_become_one_sheet_in_the_order_of_their_clocks(book):
    done = bring(book, *reversed(BASELINE))
    assert done.sheet.name == "yard-loader-1"
    assert [logged.placement.position for logged in done.logged] == list(range(1, len(BASELINE) + 1))
    times = [logged.trial.started for logged in done.logged]
    assert times == sorted(times)
    assert [logged.placement.as_found for logged in done.logged].count(True) == 1
    assert done.logged[0].placement.as_found
    with open_logbook(book, read_only=True) as opened:
        assert check(opened).problems == ()
        stored = opened.trace(done.logged[0].id)
    original = read_trace(SAMPLES / "baseline" / done.logged[0].placement.file)
    assert stored.current_a.tolist() == original.current_a.tolist()
    assert stored.time_s.tolist() == original.time_s.tolist()
    assert stored.voltage_v.tolist() == original.voltage_v.tolist()
    assert dict(stored.head)["format"] == "throwbook-trace-1"


def test_the_same_file_again_stores_nothing_and_is_named(book, tmp_path):
    first = bring(book, *BASELINE[:4])
    before = counts(book)
    again = bring(book, *BASELINE[:4])
    assert again.sheet is None
    assert counts(book) == before
    assert {known.where for known in again.known} == {f"already on sheet {first.sheet.name}"}
    copy = tmp_path / "renamed.csv"
    copy.write_bytes(BASELINE[4].read_bytes())
    mixed = bring(book, BASELINE[0], BASELINE[4], copy)
    assert (len(mixed.logged), len(mixed.known)) == (1, 2)


def test_one_bad_file_among_good_ones_stores_nothing(book, tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("time_s,current_a\n0.0,abc\n")
    before = counts(book)
    with pytest.raises(InputError, match=r"bad\.csv"):
        bring(book, *BASELINE[:3], bad)
    assert counts(book) == before


def test_a_file_of_another_rig_is_refused_with_the_option_that_settles_it(book, tmp_path):
    other = changed(tmp_path, BASELINE[0], "other.csv", rig="quarry-loader", head={})
    with pytest.raises(InputError, match=r"recorded on rig 'quarry-loader'.*--allow other-rig"):
        bring(book, other)
    assert counts(book)[:3] == [0, 0, 0]


def test_a_date_in_the_future_is_refused_but_two_clocks_may_differ_by_minutes(book, tmp_path):
    late = changed(tmp_path, BASELINE[0], "late.csv", started=NOW + timedelta(days=1), head={})
    with pytest.raises(InputError, match=r"in the future.*--allow future-date"):
        bring(book, late)
    soon = changed(tmp_path, BASELINE[0], "soon.csv", started=NOW + timedelta(minutes=4), head={})
    assert bring(book, soon).sheet is not None


def test_a_clock_that_went_back_is_refused(book, tmp_path):
    bring(book, BASELINE[0])
    earlier = changed(tmp_path, BASELINE[1], "earlier.csv", started=NOW - timedelta(days=900), head={})
    with pytest.raises(InputError, match=r"before the newest throw.*--allow clock-reversed"):
        bring(book, earlier)
    start = read_trace(BASELINE[2]).started
    overlapping = changed(
        tmp_path, BASELINE[3], "overlapping.csv", started=start + timedelta(seconds=2), head={}
    )
    with pytest.raises(InputError, match=r"starts before .* has ended.*--allow clock-reversed"):
        bring(book, BASELINE[2], overlapping)
    allowed = import_traces(
        book, ImportPlan("yard-loader", "bench", [earlier]), BY, NOW, settle=lambda doubt: None
    )
    assert len(allowed.logged) == 1


def test_an_unknown_rig_is_refused_with_the_names_there_are(book):
    with pytest.raises(InputError, match=r"no rig 'nowhere'.*yard-loader"):
        import_traces(book, ImportPlan("nowhere", "bench", BASELINE[:1]), BY, NOW)


def test_a_stall_takes_the_rig_out_of_use_and_the_list_says_so(book):
    bring(book, *BASELINE)
    done = import_traces(
        book,
        ImportPlan("yard-loader", "seasonal", [SAMPLES / "signs" / "stall-mid-way.csv"]),
        BY,
        NOW,
        settle=lambda doubt: None,
    )
    assert done.status.level == "do not use"
    [listed] = list_rigs(book, NOW.date())
    assert listed.rig_status.status.level == "do not use"
    assert listed.trials == len(BASELINE) + 1


def test_the_baseline_of_the_first_sheet_judges_the_next(book):
    bring(book, *BASELINE, kind="commissioning")
    done = import_traces(
        book,
        ImportPlan(
            "yard-loader",
            "seasonal",
            [SAMPLES / "signs" / "binding-spot-lock.csv"],
            {"hours_since_movement": 0.5},
        ),
        BY,
        NOW,
        settle=lambda doubt: None,
    )
    judged = done.logged[0].judgement.assessment
    assert judged.provisional
    assert "binding-spot" in [sign.sign for sign in judged.signs]
    assert not done.logged[0].placement.as_found


def test_a_changed_rig_file_takes_a_reason_and_keeps_the_old_version(book, tmp_path):
    text = (SAMPLES / "yard-loader.toml").read_text("utf-8")
    assert not add_rig(book, SAMPLES / "yard-loader.toml", BY, NOW).new
    file = tmp_path / "yard-loader.toml"
    file.write_text(text.replace('"142 mm"', '"143 mm"'), "utf-8")
    with pytest.raises(InputError, match=r"another version.*Say why"):
        add_rig(book, file, BY, NOW)
    assert add_rig(book, file, BY, NOW, "measured again").revised
    with open_logbook(book, read_only=True) as opened:
        assert len(opened.rig_revisions("yard-loader")) == 2
        assert "143 mm" in opened.rig("yard-loader").toml


def test_old_samples_under_a_new_date_or_direction_are_no_new_throw(book, tmp_path):
    bring(book, *BASELINE, kind="seasonal")
    before = counts(book)
    old = next(file for file in BASELINE if file.name == "lock-1.csv")
    later = changed(tmp_path, old, "later.csv", started=NOW - timedelta(hours=1))
    turned = changed(tmp_path, old, "turned.csv", direction="unlock", started=NOW - timedelta(minutes=30))
    done = bring(book, later, turned, kind="commissioning")
    assert [one.file for one in done.known] == [str(later), str(turned)]
    assert all("the same samples" in one.where and "yard-loader-1" in one.where for one in done.known)
    assert counts(book) == before


def test_one_record_copied_five_times_is_one_throw(book, tmp_path):
    copies = [
        changed(tmp_path, BASELINE[0], f"copy-{n}.csv", started=NOW - timedelta(hours=n)) for n in range(1, 6)
    ]
    done = bring(book, *copies, kind="commissioning")
    assert (len(done.logged), len(done.known)) == (1, 4)
