"""What ``assess`` prints for the sample runs, as files to be read in a diff.

After a wanted change: ``UPDATE_GOLDEN=1 python -m pytest tests/cli/test_assess_golden.py``, then read the diff.
"""

import json
import os
from pathlib import Path

import pytest

from throwbook.cli import diagnostics
from throwbook.cli.main import throwbook

TOP = Path(__file__).parents[2]
GOLDEN = TOP / "tests" / "golden" / "assess"
SAMPLES = (
    "healthy/lock-mild.csv",
    "healthy/unlock-sensor-turned-round.csv",
    "signs/no-start.csv",
    "signs/stall-mid-way.csv",
    "signs/stopped-short-fuse.csv",
    "signs/light-run-linkage-off.csv",
    "signs/binding-spot-lock.csv",
    "signs/drag-dry-screw.csv",
    "signs/low-supply-weak-battery.csv",
    "signs/gaps.csv",
    "duty/throw-01-lock.csv",
    "duty/throw-02-unlock.csv",
    "duty/throw-03-lock.csv",
)


@pytest.fixture
def run(capsys, monkeypatch):
    """Run ``assess`` on the sample runs from the top folder; gives stdout."""
    monkeypatch.chdir(TOP / "sample-runs")

    def assess(*options):
        arguments = ["assess", "--rig", "yard-loader.toml", *options, *SAMPLES]
        diagnostics.run(throwbook, arguments)
        captured = capsys.readouterr()
        assert captured.err == ""
        return captured.out.replace("\\\\" if "--json" in options else os.sep, "/")

    return assess


def kept(name, text):
    """The golden file's text; written anew when asked to."""
    path = GOLDEN / name
    if os.environ.get("UPDATE_GOLDEN"):
        path.write_text(text, "utf-8")
    return path.read_text("utf-8")


@pytest.mark.parametrize(
    ("name", "options"),
    [("with-baseline.txt", ("--baseline", "baseline")), ("without-baseline.txt", ())],
)
def test_what_a_person_reads(run, name, options):
    text = run(*options)
    assert text == kept(name, text)


def test_what_a_program_reads(run):
    text = run("--baseline", "baseline", "--json")
    ours = [json.loads(line) for line in text.splitlines()]
    golden = [json.loads(line) for line in kept("with-baseline.jsonl", text).splitlines()]
    assert [list(record) for record in ours] == [list(record) for record in golden]
    for record, expected in zip(ours, golden, strict=True):
        assert_same(record, expected, record["file"])


def assert_same(value, expected, where):
    """Equal, numbers to one in a million: linear algebra differs in its last digits from machine to machine."""
    if isinstance(expected, dict):
        assert value.keys() == expected.keys(), where
        for key in expected:
            assert_same(value[key], expected[key], f"{where}: {key}")
    elif isinstance(expected, list):
        assert len(value) == len(expected), where
        for index, (one, other) in enumerate(zip(value, expected, strict=True)):
            assert_same(one, other, f"{where}[{index}]")
    elif isinstance(expected, float):
        assert value == pytest.approx(expected, rel=1e-6, abs=1e-9), where
    else:
        assert value == expected, where
