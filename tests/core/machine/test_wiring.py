"""Cable and fuse against printed tables. Each test carries the id of its row and the row's source."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.machine import electrical
from throwbook.core.machine.motor import copper_at
from throwbook.core.rig import Actuator, LockMechanism, Rig, Wiring
from throwbook.core.sizing.sizing import fit
from throwbook.errors import InputError

DATA = Path(__file__).parents[2] / "check-data"
KFT_PER_M = 304.8


def rows(name):
    with (DATA / name).open() as file:
        return list(csv.DictReader(file))


def solid_ohm_per_kft(gauge):
    return electrical.copper_ohm_per_m(electrical.conductor(f"{gauge} AWG")) * KFT_PER_M


@pytest.mark.parametrize(
    ("gauge", "mm"), [(10, 2.5882), (12, 2.0525), (14, 1.6277), (16, 1.2908), (18, 1.0237), (20, 0.8118)]
)
def test_cu_1_gauge_to_diameter(gauge, mm):
    """CU-1. Source: the rule of ASTM B258. 1e-4 mm."""
    assert electrical.awg_diameter_m(gauge) * 1e3 == pytest.approx(mm, abs=1e-4)


@pytest.mark.parametrize("row", rows("awg-copper-20C.csv"), ids=lambda row: f"awg{row['awg']}")
def test_cu_2_solid_copper(row):
    """CU-2. Source: hyperphysics.gsu.edu, wire gauge table (solid copper, 20 degC). 0.1 %; and the last printed digit, half a unit of it."""
    printed = float(row["ohm_per_kft_printed"])
    last_digit = 10.0 ** -len(row["ohm_per_kft_printed"].partition(".")[2])
    assert solid_ohm_per_kft(int(row["awg"])) == pytest.approx(printed, rel=1e-3, abs=0.5 * last_digit)


@pytest.mark.parametrize(("gauge", "printed"), [(14, 3.07), (12, 1.93), (10, 1.21)])
def test_cu_3_copper_at_75_degrees(gauge, printed):
    """CU-3. Source: NFPA 70 (NEC), chapter 9, table 8, solid uncoated copper at 75 degC. 0.4 %."""
    assert copper_at(solid_ohm_per_kft(gauge), 75.0) == pytest.approx(printed, rel=4e-3)
    table = {
        int(row["awg"]): float(row["solid_uncoated_ohm_per_kft"]) for row in rows("nec-ch9-table8-75C.csv")
    }
    assert table[gauge] == printed


def test_cu_3_a_stranded_gauge_is_never_better_than_the_table():
    """CU-3. Source: the same table, seven strands uncoated over solid: 1.7 to 2.6 %, the largest is the one to reckon with."""
    over = [
        float(row["stranded7_uncoated_ohm_per_kft"]) / float(row["solid_uncoated_ohm_per_kft"])
        for row in rows("nec-ch9-table8-75C.csv")
    ]
    each_m = electrical.ohm_per_m(Wiring("14 AWG", electrical.conductor("14 AWG"), 5.0))
    assert each_m.high / each_m.low == pytest.approx(max(over), abs=5e-4)


@pytest.mark.parametrize("row", rows("iec60228-ohm-per-km-20C.csv"), ids=lambda row: f"{row['mm2']}mm2")
def test_cu_4_iec_tables(row):
    """CU-4. Source: IEC 60228, maximum resistance at 20 degC, class 5, plain; three public tables agree. Exact.

    And never below solid copper of the nominal area (IEC 60028, 17.241 ohm mm2/km).
    """
    area = float(row["mm2"])
    each_m = electrical.ohm_per_m(Wiring(f"{area:g} mm2", area * 1e-6, 1.0))
    assert each_m.value == each_m.high == pytest.approx(float(row["class5_6_plain"]) * 1e-3)
    assert each_m.low == pytest.approx(17.241e-3 / area)


def test_an_area_without_a_row_takes_the_worst_of_the_rows():
    odd = electrical.ohm_per_m(Wiring("3 mm2", 3e-6, 1.0))
    worst = max(
        float(row["class5_6_plain"]) * float(row["mm2"]) for row in rows("iec60228-ohm-per-km-20C.csv")
    )
    assert odd.high / odd.low == pytest.approx(worst / 17.241, abs=5e-4)


@pytest.mark.parametrize("row", rows("iec60228-kt-to-20C.csv"), ids=lambda row: f"{row['temp_C']}degC")
def test_cu_5_temperature_factor(row):
    """CU-5. Source: a cable maker's table citing IEC 60228, to three decimals.

    The table prints 250/(230 + t); the product reckons by IEC 60028, 0.393 % a kelvin, at most 0.4 % away from it.
    """
    at = float(row["temp_C"])
    assert 1.0 / copper_at(1.0, at) == pytest.approx(float(row["kt_printed"]), rel=4e-3)
    assert 1.0 / copper_at(1.0, at) == pytest.approx(float(row["kt_alpha_0_00393"]), abs=1e-4)


def test_cu_6_worked_drop():
    """CU-6. Own example on CU-4: 2.5 mm2 class 5, 6 m one way, 8 A, 20 degC."""
    eight = Actuator(12.0, 0.2, 3000.0, 0.016, 2.0, 8.0, 0.011)
    rig = Rig("r", eight, LockMechanism(0.188), wiring=Wiring("2.5 mm2", 2.5e-6, 6.0))
    numbers = fit(rig).numbers
    assert numbers["cable_ohm"].value == pytest.approx(0.09576, abs=5e-6)
    assert numbers["cable_drop_v"].value == pytest.approx(0.766, abs=5e-4)
    # Length +/- 5 % (assumed), from solid copper (0.0827 ohm) to the standard's greatest.
    assert numbers["cable_ohm"].low == pytest.approx(0.0808, abs=5e-4)
    assert numbers["cable_ohm"].high == pytest.approx(0.0981, abs=5e-4)


KINDS_OF_FUSE = {
    "ATO style 35 and 40 A": "blade",
    "ATO style 10 A": "blade",
    "ISO 8820-3 type C small ratings": "blade",
    "MAXI style 40 A": "maxi blade",
}


def test_fus_1_to_4_the_points_of_a_fuse_are_the_printed_ones():
    """FUS-1 to FUS-4. Source: data-sheet figures noted in public design files, quoting ISO 8820-3 (FUS-4: from memory).

    The styles are told apart only as blade and maxi blade: at each printed per cent the least of the shortest times and
    the most of the longest; no further points, none left out but a longer-lasting one below (100 % where 110 % is held).
    """
    for kind in ("blade", "maxi blade"):
        printed = {}
        for row in rows("blade-fuse-points.csv"):
            if KINDS_OF_FUSE[row["type"]] == kind:
                times = printed.setdefault(float(row["percent_of_rating"]), ([], []))
                for column, printed_s in zip(times, (row["t_min_s"], row["t_max_s"]), strict=True):
                    column += [float(printed_s)] if printed_s else []
        if kind == "blade":
            assert printed.pop(100.0) == ([360_000.0], [])
        held = {
            percent: (min(least, default=None), max(most, default=None))
            for percent, (least, most) in printed.items()
        }
        assert {at: (least, most) for at, least, most in electrical.FUSE_POINTS[kind]} == held
        for percent, (least, most) in held.items():
            took = electrical.fuse_time(percent, 100.0, kind)
            assert least is None or took.at_least_s == least
            assert most is None or took.at_most_s == most


def test_fus_1_to_3_between_two_points_neither_is_drawn():
    """FUS-1, FUS-3. Source: as above."""
    assert electrical.fuse_time(134.9, 100).at_most_s == math.inf
    assert electrical.fuse_time(135.1, 100).at_least_s == 0.25
    assert electrical.fuse_time(110.1, 100).at_least_s == 0.75
    assert electrical.fuse_time(349.9, 100).at_most_s == 5.0
    assert electrical.fuse_time(199.9, 100, "maxi blade") == electrical.FuseTime(2.0, 1800.0)
    assert electrical.fuse_time(200.1, 100, "maxi blade") == electrical.FuseTime(0.2, 50.0)


def test_fus_2_ten_ampere_fuse():
    """FUS-2. Source: public design file. Exact."""
    assert electrical.fuse_time(16.0, 10.0) == electrical.FuseTime(0.25, 50.0)


def test_fus_5_continuous_load():
    """FUS-5. Source: public guide to fuses, circuitprotection.ca: at most 75 % of the rating at 25 degC."""
    assert electrical.CONTINUOUS_SHARE == 0.75


def test_fus_6_a_stall_may_sit_for_many_seconds():
    """FUS-6. Follows from FUS-2: 18 A on 10 A is between 160 % and 200 %; no single number is drawn between."""
    took = electrical.fuse_time(18.0, 10.0)
    assert took.at_most_s == 50.0
    assert took.at_least_s == 0.15


@given(st.floats(0.1, 1000.0), st.floats(1.0, 100.0), st.sampled_from(sorted(electrical.FUSE_POINTS)))
def test_more_current_never_opens_a_fuse_later(current, fuse, kind):
    less, more = electrical.fuse_time(current, fuse, kind), electrical.fuse_time(1.3 * current, fuse, kind)
    assert less.at_least_s <= less.at_most_s
    assert more.at_most_s <= less.at_most_s
    assert more.at_least_s <= less.at_least_s


@pytest.mark.parametrize(("gauge", "fuse_a"), [(18, 7.0), (16, 10.0), (14, 15.0), (12, 20.0), (10, 30.0)])
def test_nec_1_largest_fuse_of_a_gauge(gauge, fuse_a):
    """NEC-1. Source: NFPA 70 (NEC), 2017 and later, 240.4(D)(1) to (7), copper, as two public tables quote it. Exact."""
    assert electrical.largest_fuse_a(electrical.conductor(f"{gauge} AWG")) == fuse_a


@pytest.mark.parametrize(
    ("conductor", "gauge"),
    [("0.75 mm2", None), ("1 mm2", 18), ("1.5 mm2", 16), ("2.5 mm2", 14), ("4 mm2", 12), ("6 mm2", 10), ("10 mm2", None)],
)  # fmt: skip
def test_a_metric_cable_takes_the_row_of_the_largest_gauge_it_is_not_thinner_than(conductor, gauge):
    """By cross-section (ASTM B258): 18 AWG 0.823, 16 1.309, 14 2.081, 12 3.309, 10 5.261, 8 8.366 mm2."""
    row = electrical.fuse_row(electrical.conductor(conductor))
    assert (row and row.gauge) == gauge


def test_the_thinnest_cable_for_a_fuse():
    assert [electrical.thinnest_for(size) for size in (5.0, 7.5, 15.0, 30.0, 40.0)] == [
        "1 mm2", "1.5 mm2", "2.5 mm2", "6 mm2", None,
    ]  # fmt: skip


def test_a_gauge_reckons_as_solid_copper_and_a_nominal_size_by_the_standard():
    area = electrical.conductor("14 AWG")
    gauge = Wiring("14 AWG", area, 5.0)
    assert electrical.loop_ohm(gauge) == pytest.approx(10.0 * 8.2853e-3, rel=1e-3)
    odd = Wiring("3 mm2", 3e-6, 5.0)
    assert electrical.loop_ohm(odd) == pytest.approx(10.0 * 17.241e-3 / 3.0)


@pytest.mark.parametrize("text", ["14", "99 AWG", "thick", "2.5 mm", "AWG", ""])
def test_a_conductor_that_is_none_is_refused(text):
    with pytest.raises(InputError):
        electrical.conductor(text)


def test_no_current_never_opens_a_fuse():
    assert electrical.fuse_time(0.0, 10.0).at_most_s == math.inf


def test_of_a_cable_of_8_awg_and_more_the_table_of_fuses_says_nothing():
    """NFPA 70, 240.4(D) ends with 10 AWG; ASTM B258: 8 AWG has 8.37 mm2."""
    assert electrical.fuse_row(8.37e-6) is None
    assert electrical.fuse_row(8.30e-6).gauge == 10


def test_what_a_cable_may_have_lies_between_its_shortest_best_and_its_longest_worst():
    """Length to 5 % (assumed), copper between the best and the worst row of its size: there and back."""
    wiring = Wiring("2.5 mm2", 2.5e-6, 4.0, 15.0, "blade")
    each_m = electrical.ohm_per_m(wiring)
    ends = np.array([[-1.0, 1.0, 0.0], [-1.0, 1.0, 0.0]])
    middle = 0.5 * (each_m.low + each_m.high)
    assert electrical.drawn_loop_ohm(wiring, ends) == pytest.approx(
        [2 * 3.8 * each_m.low, 2 * 4.2 * each_m.high, 2 * 4.0 * middle], rel=1e-12
    )
