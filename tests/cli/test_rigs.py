"""``rig fit`` and ``rig show`` as a mechanic or a script meets them."""

import json

import pytest

from throwbook.cli import diagnostics
from throwbook.cli.main import throwbook

TEXT = """
name = "quarry-loader"
[lock]
needed_travel = "188 mm"
needed_force = "700 N"
excess_goes = "slotted link"
[actuator]
voltage = "12 V"
stroke = "200 mm"
rated_force = "1500 N"
no_load_speed = "16 mm/s"
full_load_speed = "11 mm/s"
no_load_current = "0.9 A"
full_load_current = "3.6 A"
"""


@pytest.fixture
def run(tmp_path, capsys):
    """Write a rig file (TEXT with a change), run the command on it: exit code, stdout, stderr."""

    def go(*arguments, old="", new=""):
        path = tmp_path / "a rig.toml"
        path.write_text(TEXT.replace(old, new) if old else TEXT, encoding="utf-8")
        code = diagnostics.run(throwbook, ["rig", *arguments, str(path)])
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return go


def test_fit_reads_as_a_page_and_exits_0_where_nothing_fails(run):
    code, out, err = run("fit")
    assert (code, err) == (0, "")
    assert out.startswith("quarry-loader: does the actuator suit the mechanism? undecided")
    for about in (
        "stroke",
        "force margin",
        "time and current",
        "stall",
        "cable",
        "fuse",
        "duty cycle",
        "protection",
    ):
        assert f" {about}\n" in out
    assert "Not in the rig file" in out
    assert "look at each pin separately" in out


def test_fit_exits_1_where_it_does_not_fit(run):
    code, out, _ = run("fit", old='"200 mm"', new='"150 mm"')
    assert code == 1
    assert "WRONG      actuator.stroke: is 150 mm, 38 mm short of the travel needed" in out
    assert run("fit", "--json", old='"700 N"', new='"1200 N"')[0] == 1


def test_fit_as_json_is_one_object_in_si(run):
    code, out, _ = run("fit", "--json", old="name = ", new='units = "us"\nname = ')
    record = json.loads(out)
    assert code == 0
    assert record["verdict"] == "undecided"
    assert record["run_current_a"] == pytest.approx(2.16)
    assert record["run_current_a_u"] > 0.0
    assert record["cable_ohm"] is None
    assert {one["key"] for one in record["missing"]} >= {"[wiring]", "lock.coldest"}
    assert record["limits"]["run_current"]["value"] == pytest.approx(2.88)


def test_show_lists_every_value_in_the_rigs_units_and_every_limit(run):
    code, out, _ = run("show", old="name = ", new='units = "us"\nname = ')
    assert code == 0
    assert "7.87 in" in out
    assert "at most 2.88 A" in out
    assert "80 % of the full-load current; common practice, no source" in out


def test_show_as_json_is_si(run):
    record = json.loads(run("show", "--json")[1])
    assert record["actuator"]["stroke_m"] == 0.2
    assert record["problems"] == []


def test_show_of_a_contradicting_rig_names_what_is_wrong(run):
    code, out, _ = run("show", old='"3.6 A"', new='"0.6 A"')
    assert code == 0
    assert "WRONG      actuator.full_load_current" in out


@pytest.mark.parametrize("command", ["fit", "show"])
def test_bad_input_is_one_line_and_exit_2(run, command):
    code, out, err = run(command, old='"200 mm"', new="200")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "actuator.stroke: '200' is a bare number. Write it with its unit" in err


def test_a_missing_file_is_exit_2(capsys):
    assert diagnostics.run(throwbook, ["rig", "fit", "none.toml"]) == 2
    assert "none.toml: there is no such file" in capsys.readouterr().err


def test_a_key_that_is_not_known_is_warned_about(run):
    code, _, err = run("fit", old="[actuator]", new='[actuator]\nprotecton = "IP66"')
    assert code == 0
    assert "is protection meant?" in err


def test_the_example_printed_is_a_rig_file_that_fits(tmp_path, capsys):
    assert diagnostics.run(throwbook, ["rig", "example"]) == 0
    path = tmp_path / "rig.toml"
    path.write_text(capsys.readouterr().out, encoding="utf-8")
    assert diagnostics.run(throwbook, ["rig", "fit", str(path)]) == 0
    assert "? pass" in capsys.readouterr().out
