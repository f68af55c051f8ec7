"""Papers for the field: in the order they are typed in later, one page for the cab, nothing claimed that isn't known."""

import io
import os
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.report.made_material import RIG, assessment
from tests.report.page_words import overlapping, words_on_pages
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.assessment import Figures, Measured
from throwbook.core.machine.limits import limits_for
from throwbook.core.rig import SIDES
from throwbook.core.sheets.conditions import QUESTIONS
from throwbook.core.sheets.hand_readings import EXAMPLE, parse_line
from throwbook.core.sheets.sheet import KINDS, plan_for
from throwbook.core.status.latch import DO_NOT_USE, OpenRaise, Status
from throwbook.core.status.maintenance import SEASON, NextCheck
from throwbook.core.trend.expected_throw import expected_throw, own_weather
from throwbook.core.trend.history import RigHistory, SeasonCheck, SeasonThrow
from throwbook.report.document import Cautions, Facts, Table, words
from throwbook.report.forms import (
    CARD_TEMPERATURES_C,
    FormSource,
    blank_sheet,
    cab_card,
    card_counts_until,
)
from throwbook.report.pdf import to_one_page, to_pdf
from throwbook.report.pdf_layout import PAPERS, PENCIL_ROW

GOLDEN = Path(__file__).parent.parent / "golden" / "papers"
MM = 72 / 25.4
EXPECTED_ROWS = ("-10 | ", "5 | ", "20 | ")
"""Rows of expected figures: they move with the allowances of ``correction``, which have tests of their own."""


@pytest.fixture(scope="module")
def source() -> FormSource:
    held = {
        way: make_baseline([assessment(n, way, ambient_c=14.0) for n in range(5)])
        for way in ("lock", "unlock")
    }
    due = NextCheck(date(2026, 9, 12), sentence="check due 2026-09-12")
    return FormSource(RIG, held, Status("in service", (), ()), True, due, date(2026, 7, 1), "0.1.0")


def sheet_of(source, kind="commissioning"):
    return blank_sheet(source, kind, plan_for(kind, source.rig))


@pytest.mark.parametrize("name", ["blank", "card"])
def test_the_words_are_those_of_the_golden_file(source, name):
    document = sheet_of(source) if name == "blank" else cab_card(source)
    said = "".join(f"{line}\n" for line in words(document).splitlines() if not line.startswith(EXPECTED_ROWS))
    golden = GOLDEN / f"{name}.txt"
    if os.environ.get("THROWBOOK_GOLDEN") == "write":
        golden.write_text(said, encoding="utf-8")
    assert said == golden.read_text(encoding="utf-8")


def test_cautions_come_first_on_the_blank_sheet(source):
    assert isinstance(sheet_of(source).blocks[0], Cautions)


def test_the_questions_stand_in_the_order_in_which_they_are_asked(source):
    asked = next(block for block in sheet_of(source).blocks if isinstance(block, Facts))
    assert [name for name, _ in asked.rows][2:] == [one.asked.rstrip("?") for one in QUESTIONS]
    assert all(value == "" for _, value in asked.rows)


def test_the_columns_stand_in_the_order_in_which_a_line_is_typed(source):
    table = next(block for block in sheet_of(source).blocks if isinstance(block, Table) and block.pencil)
    assert table.headings[2:10] == (
        *(
            "Time [s]",
            "Running [A]",
            "Peak [A]",
            "Under load [V]",
            "Left",
            "Right",
            "Load check",
            "Stays put",
        ),
    )
    typed = parse_line(EXAMPLE)
    order = (typed.time_s, typed.run_current_a, typed.peak_current_a, typed.voltage_v)
    assert [one.value for one in order] == [14.3, 2.1, 2.9, 12.4]


def test_the_line_printed_as_an_example_is_one_that_can_be_typed(source):
    line = next(one for one in words(sheet_of(source)).splitlines() if one.startswith("lock 14.3s"))
    throw = parse_line(line)
    assert (throw.left_pin, throw.right_pin, throw.load_check, throw.retained_power_off) == ("yes",) * 4


@pytest.mark.parametrize("kind", KINDS)
def test_there_is_a_row_for_every_throw_of_every_kind(source, kind):
    table = next(
        block for block in sheet_of(source, kind).blocks if isinstance(block, Table) and block.pencil
    )
    assert len(table.rows) == 2 * KINDS[kind][0]
    assert ("Left" in table.headings) == (kind != "bench")


def test_a_pencil_fits_into_every_box(source, tmp_path):
    """8 mm high and 11 mm wide at least, measured on the page (common practice, no source)."""
    _, (_, _, found) = words_on_pages(to_pdf(sheet_of(source), "a4"), tmp_path)
    ways = [word for word in found if word.text in ("lock", "unlock") and word.left < 100 and word.top > 90][
        :10
    ]
    assert len(ways) == 10
    assert min(below.top - above.top for above, below in pairwise(ways)) >= 8 * MM
    first = ("Time", "Running", "Peak", "Under", "Left", "Right", "Load", "Stays", "Note")
    lefts = sorted(
        min(word.left for word in found if word.text == text and word.top < ways[0].top) for text in first
    )
    assert min(after - before for before, after in pairwise(lefts)) >= 11 * MM
    assert PENCIL_ROW >= 8 * MM


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_blank_sheet_is_both_sides_of_one_leaf(source, paper, tmp_path):
    pages = words_on_pages(to_pdf(sheet_of(source), paper), tmp_path)
    assert len(pages) == 2
    assert [overlapping(found) for _, _, found in pages] == [[], []]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("worst", [False, True])
def test_the_cab_card_is_one_page_of_any_size(source, paper, worst, tmp_path):
    source = replace(source, switches=SIDES)
    if worst:
        held = tuple(
            OpenRaise(
                (f"{n}bcdef12",),
                "stall",
                DO_NOT_USE,
                "the motor stood still under voltage: 6.1 A at 40 % of the stroke",
            )
            for n in range(2)
        )
        source = replace(source, status=Status(DO_NOT_USE, held, ()))
    ((width, height, found),) = words_on_pages(to_one_page(cab_card(source), paper), tmp_path)
    assert (width, height) == pytest.approx(PAPERS[paper][:2], abs=0.1)
    assert overlapping(found) == []


def test_the_cab_card_says_what_to_look_at_and_when_to_stop(source):
    said = words(cab_card(source))
    for text in (
        "look at the left pin, then at the right pin, one at a time",
        "the manufacturer's load check",
        "Stop using it when",
    ):
        assert text in said
    assert "Next check: due 2026-09-12" in said
    assert "Status on the day of print: in service" in said
    assert [row.split(" | ")[0] for row in said.splitlines() if row.startswith(("-10", "5 |", "20 |"))] == [
        "-10",
        "5",
        "20",
    ]


@pytest.mark.parametrize("fitted", [SIDES, ("right",)])
def test_an_open_switch_is_a_reason_to_stop_where_one_is_fitted(source, fitted):
    seen = "a pin is not seen in its hole, left or right"
    assert f"{seen}, or its switch is open after a lock throw\n" in words(
        cab_card(replace(source, switches=fitted))
    )
    assert f"{seen}\n" in words(cab_card(source))


def test_the_card_of_a_rig_out_of_use_says_so_and_gives_nothing_to_work_by(source):
    held = Status(DO_NOT_USE, (OpenRaise(("abcdef12",), "stall", DO_NOT_USE, "it stood still"),), ())
    card = cab_card(replace(source, status=held))
    said = words(card)
    assert card.title == "DO NOT USE"
    assert isinstance(card.blocks[0], Cautions)
    assert card.blocks[0].title == "DO NOT USE"
    assert "it stood still" in said
    assert "abcdef12" not in said, "a name that says nothing to a person in a cab"
    for figure in ("Expected at", "At most", "[s]", "[A]", " A ", " V "):
        assert figure not in said
    assert not any(isinstance(block, Table) for block in card.blocks)


def test_a_card_ends_with_the_next_check_and_with_the_season_at_the_latest(source):
    issued = source.issued
    assert card_counts_until(source) == date(2026, 9, 12)
    assert "Counts until 2026-09-12" in words(cab_card(source))
    never = replace(source, next_check=NextCheck())
    assert card_counts_until(never) == issued + SEASON
    late = replace(source, next_check=NextCheck(issued + timedelta(days=400)))
    assert card_counts_until(late) == issued + SEASON
    overdue = replace(source, next_check=NextCheck(issued - timedelta(days=9), overdue=True))
    assert card_counts_until(overdue) == issued


def test_us_units_show_fahrenheit(source):
    said = words(cab_card(replace(source, rig=replace(RIG, units="us"))))
    assert "Air [degF]" in said
    assert "14 | " in said


def test_without_baseline_and_needed_push_nothing_is_expected(source):
    bare = replace(RIG, lock=replace(RIG.lock, needed_force_n=None))
    said = words(cab_card(replace(source, rig=bare, baselines={})))
    assert "not known yet" in said
    assert "needed_force" in said


def test_the_same_day_gives_the_same_bytes(source):
    assert to_one_page(cab_card(source), "pocket") == to_one_page(cab_card(source), "pocket")
    later = replace(source, issued=date(2026, 7, 2))
    assert cab_card(later).number != cab_card(source).number


def test_a_paper_names_its_number(source):
    text = PdfReader(io.BytesIO(to_pdf(sheet_of(source), "a4"))).pages[0].extract_text()
    assert sheet_of(source).number in text


def test_at_its_own_weather_and_supply_the_baseline_itself_is_expected(source):
    baseline = source.baselines["lock"]
    found = expected_throw(RIG, baseline, None, 14.0)
    assert found.time_s.value == pytest.approx(baseline.figures["travel_time_s"].mean)
    assert found.run_current_a.value == pytest.approx(baseline.figures["run_current_a"].mean)
    assert found.voltage_v == pytest.approx(12.41)


def test_a_lower_supply_is_slower_and_cold_is_heavier_and_less_sure(source):
    baseline = source.baselines["lock"]
    usual, weak, cold = (
        expected_throw(RIG, baseline, *at) for at in ((12.4, 14.0), (11.0, 14.0), (12.4, -10.0))
    )
    assert weak.time_s.value > 1.1 * usual.time_s.value
    assert cold.run_current_a.value > usual.run_current_a.value
    assert cold.run_current_a.u > usual.run_current_a.u


@pytest.mark.parametrize("voltage_v", [None, 11.0, 13.5])
@pytest.mark.parametrize("measured_c", [None, 5.0, 14.0, 30.0])
@pytest.mark.parametrize("needed_n", [None, 700.0])
def test_cold_is_never_expected_quicker_or_lighter_and_always_less_sure(
    source, voltage_v, measured_c, needed_n
):
    """From the baseline and from the rating alone, both ends of both intervals."""
    rig = replace(RIG, lock=replace(RIG.lock, needed_force_n=needed_n))
    baseline = None
    if needed_n is None:
        baseline = make_baseline([assessment(n, "lock", ambient_c=measured_c) for n in range(5)])
    rows = [expected_throw(rig, baseline, voltage_v, air_c) for air_c in (20.0, 5.0, -10.0, -25.0)]
    usual_c = 20.0 if baseline is None else measured_c if measured_c is not None else 15.0
    colder = [row for row in rows if row.temperature_c < usual_c]
    usual = expected_throw(rig, baseline, voltage_v, usual_c)
    assert len(colder) > 1
    for warm, cold in pairwise([usual, *colder]):
        assert cold.time_from_s >= usual.time_from_s - 1e-9
        assert cold.time_s.value >= warm.time_s.value - 1e-9
        assert cold.time_to_s > warm.time_to_s
        assert cold.current_from_a >= usual.current_from_a - 1e-9
        assert cold.run_current_a.value >= warm.run_current_a.value - 1e-9
        assert cold.current_to_a > warm.current_to_a


def test_colder_magnets_are_slower_by_what_they_gain(source):
    """Speed at one voltage and current goes with 1/k_e; 0.1 to 0.2 % a kelvin (material data, see ``evidence``)."""
    baseline = source.baselines["lock"]
    slower = expected_throw(RIG, baseline, None, -10.0).time_s.value / baseline.figures["travel_time_s"].mean
    assert slower == pytest.approx(14.149 / 14.340 * (1.0 + 0.0015 * 24.0), rel=1e-3)


def test_near_stall_nothing_is_expected(source):
    assert expected_throw(RIG, None, 0.5, 20.0) is None


PER_10K = -0.05
"""A rig that answers to cold far more than the allowance says."""


def checked_in_all_weathers(baseline, checks, swing_k=14.0):
    """A history of invented checks, each a little off, whose current falls by 5 % for 10 K warmer."""
    amps, seconds = (baseline.figures[name].mean for name in ("run_current_a", "travel_time_s"))
    found = []
    for number in range(checks):
        air_c = 14.0 + swing_k * (0.0, 1.0, 0.0, -1.0)[number % 4]
        heavier = 1.0 + PER_10K * (air_c - 14.0) / 10.0
        throws = tuple(
            SeasonThrow(
                "lock",
                Figures(
                    run_current_a=Measured(amps * heavier * (1.0 + off), 0.01),
                    travel_time_s=Measured(seconds * (1.0 + 0.2 * (heavier - 1.0) + 0.5 * off), 0.01),
                    mean_voltage_v=Measured(12.41, 0.01),
                ),
            )
            for off in (-0.004, 0.0, 0.004)
        )
        day = date(2022, 3, 1) + timedelta(days=91 * number)
        found.append(SeasonCheck(day, f"sheet-{number}", "seasonal", throws, ambient_c=air_c))
    return RigHistory(RIG, tuple(found))


def test_a_rig_that_has_shown_its_answer_to_weather_is_expected_so_and_the_card_says_it(source):
    baseline = source.baselines["lock"]
    own = own_weather(checked_in_all_weathers(baseline, 16), "lock")
    assumed = expected_throw(RIG, baseline, 12.41, -6.0)
    shown = expected_throw(RIG, baseline, 12.41, -6.0, own)
    truth_a = baseline.figures["run_current_a"].mean * (1.0 - 2.0 * PER_10K)
    assert abs(shown.run_current_a.value - truth_a) < 0.5 * abs(assumed.run_current_a.value - truth_a)
    assert shown.run_current_a.u < assumed.run_current_a.u
    assert shown.time_s.value > assumed.time_s.value
    assert assumed.because.endswith("effect of weather assumed, not measured")
    assert shown.because.endswith("effect of weather from 16 checks of this rig")
    said = words(cab_card(replace(source, weather={"lock": own})))
    assert "effect of weather from 16 checks of this rig" in said


@pytest.mark.parametrize(("checks", "swing_k"), [(3, 14.0), (16, 4.0)])
def test_few_checks_or_checks_in_one_weather_leave_the_allowances(source, checks, swing_k):
    assert own_weather(checked_in_all_weathers(source.baselines["lock"], checks, swing_k), "lock") is None


def test_at_its_own_weather_a_rig_that_has_shown_its_slopes_is_expected_as_its_baseline(source):
    baseline = source.baselines["lock"]
    own = own_weather(checked_in_all_weathers(baseline, 16), "lock")
    found = expected_throw(RIG, baseline, None, 14.0, own)
    assert found.time_s.value == pytest.approx(baseline.figures["travel_time_s"].mean)
    assert found.run_current_a.value == pytest.approx(baseline.figures["run_current_a"].mean)


def test_a_longest_time_is_never_rounded_up(source):
    card = cab_card(source)
    (table,) = (block for block in card.blocks if isinstance(block, Table))
    for row, temperature_c in zip(table.rows, CARD_TEMPERATURES_C, strict=True):
        found = expected_throw(RIG, source.baselines["lock"], None, temperature_c)
        longest_s = found.time_s.value * limits_for(RIG, found.time_s.value)["travel_time_high"].value
        assert float(row[2]) <= longest_s < float(row[2]) + 0.1
        assert len(row[2].partition(".")[2]) == 1, "as many digits in each row"


def test_a_bench_sheet_asks_for_no_pins_and_expects_a_light_run(source):
    said = words(sheet_of(replace(source, baselines={}), "bench"))
    assert "Off the machine, nothing to move" in said
    assert "the pin was seen in its hole" not in said
    assert "lock 14.3s 2.1A 2.9A 12.4V\n" in f"{said}\n"
