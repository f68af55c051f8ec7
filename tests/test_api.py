"""The notebook's way in: lazily loaded, reading only, tables that pandas and other programs open without help."""

import re
import subprocess
import sys
from pathlib import Path

import pandas
import pytest

import throwbook
from tests.cli.sheet_steps import RIG_FILE
from tests.records_of_several import GOOD, STALLED, record
from tests.report.made_material import DAY
from throwbook import (
    api,
    open_logbook_readonly,
    read_rig,
    read_trace,
    to_frame,
)
from throwbook.errors import InputError
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.logbook_care import export
from throwbook.jobs.rigs import add_rig

SAMPLES = Path(__file__).parent.parent / "sample-runs"


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("book") / "a.throwbook"
    add_rig(path, SAMPLES / "yard-loader.toml", "M. K.", DAY)
    files = sorted((SAMPLES / "baseline").glob("*.csv"))[:4]
    import_traces(path, ImportPlan("yard-loader", "seasonal", files, {}), "M. K.", DAY.replace(year=2027))
    return path


def test_the_package_loads_nothing_until_it_is_asked():
    code = "import sys, throwbook; assert throwbook.__version__; print('numpy' in sys.modules, 'throwbook.api' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_everything_offered_is_there_and_listed():
    assert set(throwbook.OFFERED) <= set(dir(throwbook))
    typed = re.findall(
        r"import \w+ as (\w+)", Path(throwbook.__file__).with_suffix(".pyi").read_text("utf-8")
    )
    assert set(throwbook.OFFERED) == set(api.__all__) == set(typed)
    assert all(callable(getattr(throwbook, name)) for name in throwbook.OFFERED)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        throwbook.nothing  # noqa: B018


def test_the_trials_of_a_logbook_are_a_table_with_units_in_its_columns(book):
    with open_logbook_readonly(book) as opened:
        trials = opened.to_frame("trials", rigs=["yard-loader"])
        assert len(trials) == 4
        assert trials["run_current_a"].between(2.0, 3.5).all()
        assert trials["run_current_a_u"].gt(0).all()
        trace = opened.trace(trials["trial"].iloc[0])
    assert to_frame(trace).columns.tolist() == ["time_s", "current_a", "voltage_v"]


def test_every_table_that_is_named_can_be_had(book):
    with open_logbook_readonly(book) as opened:
        assert opened.rigs == ["yard-loader"]
        assert opened.rig("yard-loader").actuator.voltage_v == 12.0
        for table in opened.tables:
            assert isinstance(opened.to_frame(table), pandas.DataFrame)
        with pytest.raises(InputError, match="no table is called 'throws'"):
            opened.to_frame("throws")
        with pytest.raises(InputError):
            opened.to_frame("trials", rigs=["nobody"])


def test_reading_leaves_the_file_as_it_was(book):
    before = book.read_bytes()
    with open_logbook_readonly(book) as opened:
        opened.to_frame("trials")
        assert opened.baseline("yard-loader", "lock") is None
    assert book.read_bytes() == before


def test_a_profile_is_a_table_too():
    rig = read_rig(SAMPLES / "yard-loader.toml")
    found = throwbook.assess_trace(read_trace(SAMPLES / "baseline" / "lock-1.csv"), rig)
    assert to_frame(found.profile).columns.tolist() == ["fraction", "current_a", "u_a"]
    assert to_frame(found)["direction"].tolist() == ["lock"]


def test_a_baseline_of_the_other_direction_is_refused():
    rig = read_rig(SAMPLES / "yard-loader.toml")
    lock, unlock = (
        [read_trace(SAMPLES / "baseline" / f"{direction}-{n}.csv") for n in (1, 2, 3)]
        for direction in ("lock", "unlock")
    )
    usual = throwbook.make_baseline([throwbook.assess_trace(each, rig) for each in lock])
    assert throwbook.assess_trace(lock[0], rig, usual).verdict == "pass"
    with pytest.raises(InputError, match="of lock throws, but this throw is not"):
        throwbook.assess_trace(unlock[0], rig, usual)
    with pytest.raises(InputError, match="of lock throws"):
        throwbook.assess_record(lock[0], rig, {"unlock": usual})


def test_every_movement_of_a_record_has_its_own_row():
    rig = read_rig(RIG_FILE)
    found = to_frame(throwbook.assess_record(record([GOOD, STALLED]), rig))
    assert found[["movement", "movements", "verdict"]].to_numpy().tolist() == [[1, 2, "pass"], [2, 2, "fail"]]
    whole = throwbook.assess_trace(record([GOOD, STALLED]), rig)
    assert (whole.verdict, whole.movement) == ("fail", 2)


def test_an_export_opens_in_pandas_without_help(book, tmp_path):
    written = export(book, tmp_path / "out")
    columns = pandas.read_csv(written.folder / "columns.csv")
    for table, described in columns.groupby("table"):
        read = pandas.read_csv(written.folder / f"{table}.csv")
        assert read.columns.tolist() == described["column"].tolist()
    trials = pandas.read_csv(written.folder / "trials.csv", parse_dates=["started"])
    assert trials["run_current_a"].dtype == float
    with open_logbook_readonly(book) as opened:
        same = opened.to_frame("trials")
    assert trials["run_current_a"].tolist() == pytest.approx(same["run_current_a"].tolist())
