"""An actuator judged against its mechanism: each finding against a case reckoned by hand, then properties."""

import math
import re
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from logger.core.assessment import Measured
from logger.core.cautions import BOTH_PINS, FIRE
from logger.core.fitting.fit import CAUTION_AT, fit
from logger.core.fitting.fit_electrics import bears_work
from logger.core.machine.wiring import conductor, fuse_time
from logger.core.rig import Actuator, LimitOverride, LockMechanism, Rig, Wiring

RIG = Rig(
    "quarry-loader",
    Actuator(12.0, 0.200, 1500.0, 0.016, 0.9, 3.6, 0.011, 0.25, None, "IP66"),
    LockMechanism(
        0.188,
        needed_force_n=700.0,
        excess_goes="slotted link",
        bears_force_n=6000.0,
        lowest_voltage_v=11.0,
        coldest_c=-10.0,
    ),
    wiring=Wiring("2.5 mm2", 2.5e-6, 6.0, 10.0),
)


def changed(**parts):
    rig = RIG
    for part, fields in parts.items():
        rig = replace(rig, **{part: replace(getattr(rig, part), **fields)})
    return rig


def finding(rig, about):
    return next(one for one in fit(rig).findings if one.about == about)


def test_a_suiting_actuator_passes_with_the_numbers_reckoned_by_hand():
    found = fit(RIG)
    assert (found.verdict, found.missing, found.assumed, found.problems) == ("pass", (), (), ())
    numbers = found.numbers
    # i = 0.9 + 700 / (1500 / 2.7); R = 12 (1 - 0.6875) / (3.6 - 0.6875 * 0.9) = 1.2579; loop 0.09576 (CU-6).
    assert numbers["run_current_a"].value == pytest.approx(2.16)
    assert numbers["stall_current_a"].value == pytest.approx(12.0 / (1.25786 + 0.09576), rel=1e-4)
    # k_e = (12 - 0.9 R) / 0.016 = 679.25; v = (12 - 2.16 (R + 0.09576)) / k_e = 13.362 mm/s.
    assert numbers["travel_time_s"].value == pytest.approx(0.200 / 0.0133622, rel=1e-3)
    # 700 N * (1 + 0.3 + 0.01 * 30) = 1120 N against 1500 N.
    assert numbers["force_margin"].value == pytest.approx(1500.0 / 1120.0 - 1.0)
    assert numbers["cable_drop_v"].value == pytest.approx(3.6 * 0.09576)
    assert numbers["excess_stroke_m"].value == pytest.approx(0.012)


@pytest.mark.parametrize(
    ("about", "rig", "verdict", "said"),
    [
        ("stroke", changed(actuator={"stroke_m": 0.1885}), "watch", "next to nothing"),
        ("stroke", changed(actuator={"stroke_m": 0.300}), "watch", "That is much"),
        ("stroke", changed(lock={"excess_goes": None}), "undecided", "stalls there at every throw"),
        ("force margin", changed(lock={"needed_force_n": 900.0}), "fail", "margin 4 %"),
        ("force margin", changed(lock={"needed_force_n": 1200.0}), "fail", "beyond its rated push"),
        ("force margin", changed(lock={"needed_force_n": 2500.0}), "fail", "It would stall"),
        ("force margin", changed(lock={"needed_force_n": None}), "undecided", "at most 721 N"),
        ("time and current", changed(lock={"needed_force_n": 1200.0}), "undecided", "2.88 A"),
        ("time and current", changed(lock={"needed_force_n": None}), "undecided", "only the range"),
        ("time and current", changed(lock={"needed_force_n": 1450.0}), "fail", "Limit of the running current"),
        ("stall", changed(lock={"bears_force_n": None}), "watch", "Nobody has looked"),
        ("stall", changed(lock={"bears_force_n": 4400.0}), "undecided", "bear 4400 N"),
        ("stall", changed(lock={"bears_force_n": 2000.0}), "fail", "bear 2000 N"),
        ("cable", replace(RIG, wiring=None), "undecided", "isn't given"),
        ("cable", changed(wiring={"conductor": "0.5 mm2", "area_m2": 0.5e-6, "length_one_way_m": 10.0}), "fail", "more than"),
        ("cable", changed(wiring={"length_one_way_m": 12.0}), "watch", "5.7 %"),
        ("fuse", changed(wiring={"fuse_a": None}), "undecided", "can burn"),
        ("fuse", changed(wiring={"fuse_a": 4.0}), "watch", "may open in normal work"),
        ("fuse", changed(wiring={"fuse_a": 20.0}), "fail", "15 A at most"),
        ("fuse", changed(wiring={"conductor": "16 mm2", "area_m2": 16e-6}), "undecided", "No table"),
        ("duty cycle", changed(actuator={"duty_cycle": None}), "undecided", "no duty cycle"),
        ("duty cycle", changed(actuator={"duty_period_s": 60.0}), "watch", "not even lock and unlock"),
        ("protection", changed(actuator={"protection": None}), "undecided", "no protection code"),
        ("protection", changed(actuator={"protection": "IP54"}), "watch", "water jets"),
        ("protection", changed(actuator={"protection": "wet"}), "undecided", "can't be read"),
    ],
)  # fmt: skip
def test_each_finding_is_judged(about, rig, verdict, said):
    found = finding(rig, about)
    assert (found.verdict, said in found.says) == (verdict, True), found
    assert verdict in ("pass",) or found.do


def test_an_enclosure_that_keeps_everything_out_is_not_said_to_lack_proof_against_nothing():
    says = finding(changed(actuator={"protection": "IP66/IP68/IP69"}), "protection").says
    assert "hot high-pressure jet" in says
    assert "Not proved" not in says


def test_the_fuse_is_said_to_protect_the_cable():
    found = finding(RIG, "fuse")
    assert "may never open it: the fuse protects the cable, not the motor" in found.says


def test_a_fuse_that_is_named_has_a_margin_and_lets_every_start_through():
    """A 3 A motor needs more than a 4 A blade, which carries 3.0 A for long (FUS-5) and may open within 0.15 s at 200 % (FUS-1)."""
    rig = changed(wiring={"fuse_a": 4.0}, actuator={"full_load_current_a": 3.05, "no_load_current_a": 0.9})
    do = finding(rig, "fuse").do
    size = float(re.match(r"Take ([\d.]+) A", do)[1])
    assert 0.75 * size >= 1.2 * 3.05
    stall = fit(rig).numbers["stall_current_a"]
    assert fuse_time(stall.value + stall.u, size).at_least_s >= 0.1


def test_the_least_blade_is_not_named_for_three_amperes():
    three = Measured(8.0, 0.0)
    assert [size for size in (4.0, 5.0, 7.5) if bears_work(size, 3.0, three)] == [5.0, 7.5]
    assert not bears_work(5.0, 3.0, Measured(30.0, 0.0))


def test_rest_follows_from_the_duty_cycle():
    assert "a throw of 15 s asks for 45 s of rest" in finding(RIG, "duty cycle").says


def test_a_rig_that_contradicts_itself_gets_its_problems_and_no_reckoning():
    found = fit(changed(actuator={"stroke_m": 0.150, "full_load_current_a": 0.5}))
    assert found.verdict == "fail"
    assert {one.key for one in found.problems} >= {"actuator.stroke", "actuator.full_load_current"}
    assert dict(found.numbers) == {}


def test_what_is_missing_is_listed_with_what_it_leaves_unknown():
    bare = Rig("bare", replace(RIG.actuator, full_load_speed_m_s=None, duty_cycle=None), LockMechanism(0.188))
    found = fit(bare)
    assert found.verdict == "undecided"
    assert [key for key, _ in found.missing] == [
        "lock.needed_force", "lock.excess_goes", "lock.bears_force", "lock.lowest_voltage", "lock.coldest",
        "actuator.full_load_speed", "actuator.duty_cycle", "[wiring]",
    ]  # fmt: skip
    assert any("three quarters" in one for one in found.assumed)
    assert found.numbers["force_margin"] is None


def test_cautions_stand_with_the_judgement_and_nothing_is_claimed():
    found = fit(RIG)
    assert BOTH_PINS in found.cautions
    assert CAUTION_AT["fuse"] == FIRE
    said = " ".join(one.says + one.do for one in found.findings).lower()
    assert not any(word in said for word in ("locked", "engaged", "safe"))
    assert any("power off" in one for one in found.unknown)


def test_a_limit_of_the_rig_itself_is_used_with_its_reason():
    rig = replace(RIG, limits={"run_current": LimitOverride(2.0, "thin cable")})
    assert "thin cable" in finding(rig, "time and current").says


def test_us_rigs_are_read_out_in_us_units():
    found = fit(replace(RIG, units="us"))
    assert "7.87 in" in found.findings[0].says
    assert "lbf" in found.findings[1].says


@st.composite
def rigs(draw):
    """Rigs that may or may not suit, sound or not."""
    no_load = draw(st.floats(0.1, 3.0))
    free = draw(st.floats(0.003, 0.1))
    maybe = lambda some: draw(st.none() | some)  # noqa: E731
    size = draw(st.sampled_from(["0.75 mm2", "2.5 mm2", "14 AWG", "10 mm2", "3 mm2"]))
    return Rig(
        "r",
        Actuator(
            draw(st.sampled_from([12.0, 24.0])), draw(st.floats(0.05, 0.6)), draw(st.floats(100.0, 8000.0)), free, no_load,
            no_load * draw(st.floats(1.1, 8.0)), maybe(st.floats(0.3, 0.95).map(lambda r: r * free)),
            maybe(st.floats(0.05, 1.0)), maybe(st.floats(10.0, 1200.0)), maybe(st.sampled_from(["IP54", "IP69K", "?"])),
        ),
        LockMechanism(
            draw(st.floats(0.02, 0.6)), None, None, maybe(st.floats(10.0, 9000.0)), maybe(st.just("slot")),
            maybe(st.floats(8.0, 26.0)), maybe(st.floats(-40.0, 30.0)),
        ),
        draw(st.sampled_from(["metric", "us"])),
        maybe(st.builds(Wiring, st.just(size), st.just(conductor(size)), st.floats(0.5, 20.0), st.none() | st.floats(1.0, 60.0))),
    )  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(rigs())
def test_any_rig_is_judged_without_a_crash_and_nothing_reads_nan(rig):
    found = fit(rig)
    said = " ".join(one.says + one.do for one in found.findings)
    assert "nan" not in said.split()
    assert found.verdict in ("pass", "watch", "fail", "undecided")
    for measured in found.numbers.values():
        assert measured is None or not math.isnan(measured.value)


@settings(max_examples=60, deadline=None)
@given(rigs(), st.floats(1.05, 3.0))
def test_a_mechanism_that_needs_less_never_fits_worse(rig, easier):
    assume(rig.lock.needed_force_n is not None)
    eased = replace(rig, lock=replace(rig.lock, needed_force_n=rig.lock.needed_force_n / easier))
    before, after = fit(rig).numbers, fit(eased).numbers
    if before and after:
        assert after["force_margin"].value >= before["force_margin"].value
        assert after["run_current_a"].value <= before["run_current_a"].value
