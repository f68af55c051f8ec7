"""Cable and fuse against printed tables. Each test carries the id of its row and the row's source."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.core.machine import wiring
from logger.core.rig import Wiring
from logger.errors import InputError

DATA = Path(__file__).parents[2] / "check-data"
KFT_PER_M = 304.8


def rows(name):
    with (DATA / name).open() as file:
        return list(csv.DictReader(file))


def solid_ohm_per_kft(gauge):
    return wiring.copper_ohm_per_m(wiring.conductor(f"{gauge} AWG")) * KFT_PER_M


@pytest.mark.parametrize(
    ("gauge", "mm"), [(10, 2.5882), (12, 2.0525), (14, 1.6277), (16, 1.2908), (18, 1.0237), (20, 0.8118)]
)
def test_cu_1_gauge_to_diameter(gauge, mm):
    """CU-1. Source: the rule of ASTM B258. 1e-4 mm."""
    assert wiring.awg_diameter_m(gauge) * 1e3 == pytest.approx(mm, abs=1e-4)


@pytest.mark.parametrize("row", rows("awg-copper-20C.csv"), ids=lambda row: f"awg{row['awg']}")
def test_cu_2_solid_copper(row):
    """CU-2. Source: hyperphysics.gsu.edu wire gauge table. 0.1 %; and the last printed digit, half a unit of it."""
    printed = float(row["ohm_per_kft_printed"])
    last_digit = 10.0 ** -len(row["ohm_per_kft_printed"].partition(".")[2])
    assert solid_ohm_per_kft(int(row["awg"])) == pytest.approx(printed, rel=1e-3, abs=0.5 * last_digit)


@pytest.mark.parametrize(("gauge", "printed"), [(14, 3.07), (12, 1.93), (10, 1.21)])
def test_cu_3_copper_at_75_degrees(gauge, printed):
    """CU-3. Source: NEC chapter 9 table 8. 0.4 %."""
    assert wiring.at_temperature(solid_ohm_per_kft(gauge), 75.0) == pytest.approx(printed, rel=4e-3)
    table = {
        int(row["awg"]): float(row["solid_uncoated_ohm_per_kft"]) for row in rows("nec-ch9-table8-75C.csv")
    }
    assert table[gauge] == printed


def test_cu_4_iec_tables():
    """CU-4. Source: IEC 60228; three public tables agree. Exact."""
    printed = rows("iec60228-ohm-per-km-20C.csv")
    assert {float(row["mm2"]): float(row["class5_6_plain"]) for row in printed} == wiring.IEC_CLASS_5
    assert {float(row["mm2"]): float(row["class1_2_plain"]) for row in printed} == wiring.IEC_CLASS_2


@pytest.mark.parametrize("row", rows("iec60228-kt-to-20C.csv"), ids=lambda row: f"{row['temp_C']}degC")
def test_cu_5_temperature_factor(row):
    """CU-5. Source: cable maker's table citing IEC 60228. Two rules: the standard's printed one, and 0.393 %/K."""
    at = float(row["temp_C"])
    assert wiring.factor_to_20(at) == pytest.approx(float(row["kt_printed"]), abs=6e-4)
    assert 1.0 / wiring.at_temperature(1.0, at) == pytest.approx(float(row["kt_alpha_0_00393"]), abs=1e-4)


def test_cu_6_worked_drop():
    """CU-6. Own example on CU-4: 2.5 mm2 class 5, 6 m one way, 8 A, 20 degC."""
    cable = Wiring("2.5 mm2", 2.5e-6, 6.0)
    assert wiring.loop_ohm(cable) == pytest.approx(0.09576, abs=5e-6)
    assert wiring.drop_v(cable, 8.0) == pytest.approx(0.766, abs=5e-4)
    assert wiring.drop_v(cable, 8.0) / 12.0 == pytest.approx(0.064, abs=5e-4)
    assert wiring.drop_v(cable, 8.0) / 24.0 == pytest.approx(0.032, abs=5e-4)
    assert 8.0 * wiring.drop_v(cable, 8.0) == pytest.approx(6.13, abs=5e-3)


KINDS_OF_FUSE = {
    "ATO style 35 and 40 A": "blade",
    "ATO style 10 A": "blade",
    "ISO 8820-3 type C small ratings": "blade",
    "MAXI style 40 A": "maxi blade",
}


@pytest.mark.parametrize(
    "row", rows("blade-fuse-points.csv"), ids=lambda row: f"{row['type']} at {row['percent_of_rating']} %"
)
def test_fus_1_to_4_fuse_times_hold_every_printed_range(row):
    """FUS-1 to FUS-4. Source: data sheet figures noted in public design files, quoting ISO 8820-3 (FUS-4: from memory).

    The range given must not be narrower than any sheet's: the styles are told apart only as blade and maxi blade.
    """
    took = wiring.fuse_time(float(row["percent_of_rating"]), 100.0, KINDS_OF_FUSE[row["type"]])
    if row["t_min_s"]:
        assert took.at_least_s <= float(row["t_min_s"])
    if row["t_max_s"]:
        assert took.at_most_s >= float(row["t_max_s"])


def test_fus_1_and_3_the_printed_points_themselves():
    """FUS-1, FUS-3. Source: as above. Exact."""
    assert wiring.fuse_time(135, 100) == wiring.FuseTime(0.75, 600.0)
    assert wiring.fuse_time(200, 100) == wiring.FuseTime(0.15, 5.0)
    assert wiring.fuse_time(600, 100).at_most_s == 0.15
    assert wiring.fuse_time(135, 100, "maxi blade") == wiring.FuseTime(60.0, 1800.0)
    assert wiring.fuse_time(350, 100, "maxi blade") == wiring.FuseTime(0.2, 7.0)


def test_fus_2_ten_ampere_fuse():
    """FUS-2. Source: public design file. Exact."""
    assert wiring.fuse_time(16.0, 10.0) == wiring.FuseTime(0.25, 50.0)


def test_fus_5_continuous_load():
    """FUS-5. Source: public guide to fuses, circuitprotection.ca: at most 75 % of the rating at 25 degC."""
    assert wiring.CONTINUOUS_SHARE == 0.75


def test_fus_6_a_stall_may_sit_for_many_seconds():
    """FUS-6. Follows from FUS-2: 18 A on 10 A is between 160 % and 200 %; no single number is drawn between."""
    took = wiring.fuse_time(18.0, 10.0)
    assert took.at_most_s == 50.0
    assert took.at_least_s == 0.15


@given(st.floats(0.1, 1000.0), st.floats(1.0, 100.0), st.sampled_from(sorted(wiring.FUSE_POINTS)))
def test_more_current_never_opens_a_fuse_later(current, fuse, kind):
    less, more = wiring.fuse_time(current, fuse, kind), wiring.fuse_time(1.3 * current, fuse, kind)
    assert less.at_least_s <= less.at_most_s
    assert more.at_most_s <= less.at_most_s
    assert more.at_least_s <= less.at_least_s


def test_the_fuse_table_covers_gauge_and_metric():
    """NFPA 70, 240.4(D), as quoted by public wire tables: 14 AWG 15 A, 12 AWG 20 A, 10 AWG 30 A."""
    assert wiring.largest_fuse_a(wiring.conductor("14 AWG")) == 15.0
    assert wiring.largest_fuse_a(wiring.conductor("AWG 12")) == 20.0
    assert wiring.largest_fuse_a(wiring.conductor("2.5 mm2")) == 15.0
    assert wiring.largest_fuse_a(wiring.conductor("6 mm2")) == 30.0
    assert wiring.largest_fuse_a(wiring.conductor("0.5 mm2")) is None
    assert wiring.largest_fuse_a(wiring.conductor("16 mm2")) is None


def test_a_gauge_reckons_as_solid_copper_and_a_nominal_size_by_the_standard():
    area = wiring.conductor("14 AWG")
    gauge = Wiring("14 AWG", area, 5.0)
    assert wiring.loop_ohm(gauge) == pytest.approx(10.0 * 8.2853e-3, rel=1e-3)
    odd = Wiring("3 mm2", 3e-6, 5.0)
    assert wiring.loop_ohm(odd) == pytest.approx(10.0 * 17.241e-3 / 3.0)


@pytest.mark.parametrize("text", ["14", "99 AWG", "thick", "2.5 mm", "AWG", ""])
def test_a_conductor_that_is_none_is_refused(text):
    with pytest.raises(InputError):
        wiring.conductor(text)


def test_no_current_never_opens_a_fuse():
    assert wiring.fuse_time(0.0, 10.0).at_most_s == math.inf
