"""Typed quantities: read by a guarded grammar, judged by the unit library, shown in sensible digits."""

import contextlib
import math
import subprocess
import sys

import pint
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from throwbook.core.assessment import Measured
from throwbook.core.quantities.rounding import measured_text
from throwbook.core.quantities.units import COMMON, KINDS, parse, show, show_duration, to_display, typed
from throwbook.errors import InputError


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("7 1/8 in", "length", 7.125 * 0.0254),
        ("7-1/8 in", "length", 7.125 * 0.0254),
        ('1/2"', "length", 0.0127),
        ("188mm", "length", 0.188),
        ("0,5 mm", "length", 0.0005),
        ("-4,5 degC", "temperature", -4.5),
        ("12 V DC", "voltage", 12.0),
        ("24VDC", "voltage", 24.0),
        ("4,5A d.c.", "current", 4.5),
        ("188 MM", "length", 0.188),
        ("2.1A", "current", 2.1),
        ("2.1a", "current", 2.1),
        ("12.5 mA", "current", 0.0125),
        ("-2.1 A", "current", -2.1),
        ("330 lbf", "force", 330 * 4.4482216152605),
        ("-5 degC", "temperature", -5.0),
        ("\N{MINUS SIGN}5 °C", "temperature", -5.0),
        ("14 degF", "temperature", -10.0),
        ("14 F", "temperature", -10.0),
        ("14F", "temperature", -10.0),
        ("20 c", "temperature", 20.0),
        ("330 lb", "force", 330 * 4.4482216152605),
        ("330 lbs", "force", 330 * 4.4482216152605),
        ("14.3s", "time", 14.3),
        (".5 min", "time", 30.0),
        ("25 %", "share", 0.25),
        ("0.25", "share", 0.25),
        ("2.5 mm²", "area", 2.5e-6),
        ("1.2e2 mm", "length", 0.12),
        # Not in the small table: pint's turn.
        ("5 yard", "length", 4.572),
        ("2 kilopond", "force", 19.6133),
        ("250 µV", "voltage", 250e-6),
        ("263.15 K", "temperature", -10.0),
        ("1 W*h", "energy", 3600.0),
    ],
)
def test_what_a_mechanic_types_is_read(text, kind, value):
    assert parse(text, kind) == pytest.approx(value, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("14.3", "time", "has no unit. Type it with its unit, for example 14.3 s"),
        ("2.1A", "time", "is a current, not a time"),
        ("5 kg", "force", "write kgf or N"),
        ("3 N m", "force", "is an energy, not a force"),
        ("1,500,0 N", "force", "has a comma"),
        ("1.500,5 N", "force", "not a number"),
        ("1,500 N", "force", "Write 1.500 N or 1500 N"),
        ("-188 mm", "length", "below zero"),
        ("1e9 km", "length", "too large"),
        ("9e99 mm", "length", "too large"),
        ("-400 degC", "temperature", "too low"),
        ("5 MA", "current", "too large"),
        ("1/0 in", "length", "divides by zero"),
        ("nan mm", "length", "not a number"),
        ("inf mm", "length", "not a number"),
        ("", "length", "not a number"),
        ("3 5 mm", "length", "not a number"),
        ("12 parsnips", "length", "no unit of length"),
        ("1 m**9**9", "length", "no unit of length"),
        ("2 __import__('os').abort()", "length", "no unit of length"),
        ("1" * 5000 + " mm", "length", "not a number"),
        ("5 mm\x1b[2J", "length", "no unit of length"),
    ],
)
def test_the_rest_is_refused_in_one_line_with_what_to_type(text, kind, said):
    with pytest.raises(InputError) as refused:
        parse(text, kind, where="--x")
    line = str(refused.value)
    assert said in line
    assert line.startswith("--x: ")
    assert line.isprintable()


@given(st.text(max_size=40), st.sampled_from(sorted(KINDS)))
@example("1 °", "length")
@example("1 %^9", "share")
@example("2 //", "speed")
@example("0 h^9^9^9", "time")
def test_no_text_does_anything_but_read_or_be_refused(text, kind):
    try:
        value = parse(text, kind)
    except InputError:
        return
    assert math.isfinite(value)


@given(st.floats(0, 1e3), st.text("mAVsN/*^ 2-9%°inftx()", max_size=12))
def test_no_unit_text_does_anything_but_read_or_be_refused(number, unit):
    with contextlib.suppress(InputError):
        assert math.isfinite(parse(f"{number:.3f} {unit}", "length"))


def test_the_small_table_says_what_the_unit_library_says():
    ask = pint.UnitRegistry()
    spelled = {'"': "in", "mm2": "mm^2", "Ohm": "ohm", "A s": "A*s"}
    si = {"share": "", "area": "m^2", "charge": "A*s"}
    for name, (kind, factor, offset) in COMMON.items():
        target = si.get(kind, KINDS[kind].si)
        for number in (0.0, 1.0, 77.0):
            judged = ask.Quantity(number, ask.parse_units(spelled.get(name, name))).to(
                target or "dimensionless"
            )
            assert number * factor + offset == pytest.approx(judged.magnitude, rel=1e-12, abs=1e-12), name


def test_the_common_units_are_read_without_loading_the_unit_library():
    code = "import sys; from throwbook.core.quantities.units import parse; parse('7 1/8 in', 'length'); print('pint' in sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"


def test_the_step_is_that_of_the_last_digit():
    assert typed("14.3s", "time").step == pytest.approx(0.1)
    assert typed("2 A", "current").step == 1.0
    assert typed("120 mA", "current").step == pytest.approx(0.001)
    assert typed("7 1/8 in", "length").step == pytest.approx(0.0254 / 8)
    assert typed("12.60V", "voltage").step == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        (show(0.188, "length"), "188 mm"),
        (show(0.180975, "length", "us"), "7.125 in"),
        (show(0.18, "length", "us"), "7.09 in"),
        (show(1500.0, "force", "us"), "337 lbf"),
        (show(-10.0, "temperature", "us"), "14 degF"),
        (show(0.25, "share"), "25 %"),
        (show(12.0, "voltage"), "12 V"),
        (show(2.0971, "current", u=0.042), "2.10 A"),
        (show(2.0971, "current", u=0.012), "2.097 A"),
        (show(2.0971, "current", u=0.042, with_u=True), "2.10 ± 0.04 A"),
        (show(-5.0, "temperature", "us", u=1.0, with_u=True), "23.0 ± 1.8 degF"),
        (show(1534.0, "force", u=120.0, with_u=True), "1530 ± 120 N"),
        (show(-0.001, "current", u=0.5), "0.0 A"),
        (show(float("nan"), "current"), "not known"),
        (measured_text(Measured(2.0971, 0.0), "A"), "2.1 A"),
        (measured_text(Measured(2.0971, float("nan"))), "2.1"),
        (measured_text(Measured(2.0971, 0.042), "A"), "2.10 ± 0.04 A"),
        (measured_text(Measured(float("nan"), 0.042), "A"), "-"),
        (show_duration(45.0), "45 s"),
        (show_duration(720.0), "12 min"),
        (show_duration(12600.0), "3.5 h"),
        (show_duration(86400.0 * 12), "12 days"),
    ],
)
def test_values_are_shown_in_the_digits_they_deserve(shown, said):
    assert shown == said


DECIMALS = {
    "metric": "length 1.2 mm, cable length 1.2 m, speed 1.2 mm/s, force 1 N, current 1.23 A, voltage 1.23 V, time 1.2 s, "
    "temperature 1.2 degC, resistance 1.235 ohm, area 1.23 mm2, charge 1.2 A s, energy 1 J, power 1.2 W, share 1.2 %",
    "us": "length 1.23 in, cable length 1.2 ft, speed 1.235 in/s, force 1 lbf, current 1.23 A, voltage 1.23 V, time 1.2 s, "
    "temperature 1.2 degF, resistance 1.235 ohm, area 1.23 mm2, charge 1.2 A s, energy 1 J, power 1.2 W, share 1.2 %",
}


@pytest.mark.parametrize("system", DECIMALS)
def test_without_an_uncertainty_each_kind_has_its_decimals(system):
    """Our own: 1.23456789 of the unit shown."""
    shown = {
        kind: show(parse(f"1.23456789 {kind_of.shown[system][0]}", kind), kind, system)
        for kind, kind_of in KINDS.items()
    }
    assert ", ".join(f"{kind} {text}" for kind, text in shown.items()) == DECIMALS[system]


@given(
    st.floats(0.001, 99.0), st.sampled_from(["metric", "us"]), st.sampled_from(["length", "speed", "force"])
)
def test_what_is_shown_reads_back_within_the_last_digit(value, system, kind):
    again = typed(show(value, kind, system), kind)
    decimals_step = 10.0 ** -KINDS[kind].shown[system][1]
    assert abs(to_display(again.value - value, kind, system)) <= 0.5 * decimals_step + 1e-9
