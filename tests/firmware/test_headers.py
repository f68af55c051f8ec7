"""The sketches' headers, compiled for the PC: published values first, then the rules the board keeps.

Check values: CRC catalogue (RevEng), CRC-16/IBM-3740; Texas Instruments SBOS448F table 3 (INA219) and SBOS547 table 1
(INA226): 10 A through 2 mohm, 12 V, 1 mA a count; Hall sensor: data sheet of the 185/100/66 mV/A type. One-wire check:
application note 27 of the maker of the DS18B20, example 2 (a ROM code), and the CRC catalogue (RevEng), CRC-8/MAXIM-DOW.
"""

import math

import pytest

from tests.firmware.tools import answers_of

WHO, RATE, GO, HALT, PING = 1, 2, 3, 4, 5


@pytest.fixture
def ask(header_programs):
    def answers(*questions: str) -> list[str]:
        return answers_of(header_programs / "headers", questions).splitlines()

    return answers


# ---- published values ----

PUBLISHED = [
    ("CRC", "crc 123456789", "29b1"),
    ("INA219", "calibration 219 1000 2000", "20480"),
    ("INA219", "bus 219 23960", "2995"),  # 5D98h
    ("INA219", "bus-lsb 219", "4000"),  # 2995 * 4 mV = 11.98 V
    ("INA219", "amp-lsb 219 2000", "5000"),  # so that shunt 2000 (07D0h) is 10 A
    ("INA226", "calibration 226 1000 2000", "2560"),
    ("INA226", "bus 226 9584", "9584"),  # 2570h
    ("INA226", "bus-lsb 226", "1250"),  # 9584 * 1.25 mV = 11.98 V
    ("INA226", "amp-lsb 226 2000", "1250"),  # so that shunt 8000 (1F40h) is 10 A
    ("one-wire", "crc8 021cb801000000", "a2"),  # family code first
    ("one-wire", "crc8 021cb801000000a2", "0"),
    ("one-wire", "crc8 " + b"123456789".hex(), "a1"),
]


@pytest.mark.parametrize(
    ("row", "question", "expected"), PUBLISHED, ids=[f"{r}: {q}" for r, q, _ in PUBLISHED]
)
def test_published_values_come_out_exactly(ask, row, question, expected):
    assert ask(question) == [expected]


def hall_amps(ask, mv_per_a: int, output_v: float, supply_v: float) -> tuple[float, float]:
    """Current that the board would report, and what one count is worth [A]."""
    converted = min(int(output_v / supply_v * 1024), 1023)
    lsb_ua, counts = map(int, ask(f"hall-lsb {mv_per_a}", f"hall-counts {converted}"))
    return counts * lsb_ua * 1e-6, lsb_ua * 1e-6


@pytest.mark.parametrize(("output_v", "amps"), [(2.685, 1), (2.315, -1), (2.870, 2), (1.575, -5)])
def test_hall_1_the_5_a_type_at_5_v(ask, output_v, amps):
    reported, lsb = hall_amps(ask, 185, output_v, 5.0)
    assert reported == pytest.approx(amps, abs=lsb)


@pytest.mark.parametrize(("mv_per_a", "output_v", "amps"), [(100, 2.4, 0.0), (100, 2.4 + 0.096 * 10, 10.0)])
def test_hall_2_a_supply_of_4_8_v_moves_neither_zero_nor_gain(ask, mv_per_a, output_v, amps):
    reported, lsb = hall_amps(ask, mv_per_a, output_v, 4.8)
    assert reported == pytest.approx(amps, abs=lsb)


# ---- ranges and rates ----


def test_the_hall_range_ends_at_the_count_nearest_to_the_sensors_rating(ask):
    assert ask("hall-full-scale 20000 100", "hall-full-scale 5000 185", "hall-full-scale 30000 66") == [
        "410",
        "189",
        "406",
    ]


def test_the_ina219_ends_at_its_range_and_the_ina226_at_sixteen_bits(ask):
    assert ask("full-scale-counts 219 80", "full-scale-counts 219 320", "full-scale-counts 226 80") == [
        "8000",
        "32000",
        "32767",
    ]
    assert ask("full-scale-ma 219 80 2000", "full-scale-ma 219 320 100000", "full-scale-ma 226 80 2000") == [
        "40000",
        "3200",
        "40958",
    ]


@pytest.mark.parametrize(
    ("question", "expected"),
    [
        ("config 219 200 80", 0x2000 | 1 << 11 | 0xA << 7 | 0xA << 3 | 7),  # 2 x 2.13 ms averaged in 5 ms
        ("config 219 850 40", 0x2000 | 0 << 11 | 0x3 << 7 | 0x3 << 3 | 7),  # one 12-bit conversion each
        ("config 219 5 320", 0x2000 | 3 << 11 | 0xF << 7 | 0xF << 3 | 7),  # 128 averaged
        ("config 226 200 80", 0x4000 | 5 << 6 | 5 << 3 | 7),  # 2 x 2.116 ms in 5 ms
        ("config 226 600 80", 0x4000 | 3 << 6 | 3 << 3 | 7),  # 2 x 588 us
    ],
)
def test_the_sensor_averages_as_long_as_a_sample_period_allows(ask, question, expected):
    assert ask(question) == [str(expected)]


def test_no_setting_is_slower_than_the_samples_asked_for(ask):
    total_us = {219: [1064, 2120, 4260, 8520, 17020, 34040, 68100, 136200]}
    total_us[226] = [280, 408, 664, 1176, 2200, 4232, 8312, 16488]
    field = {219: [3, 9, 10, 11, 12, 13, 14, 15], 226: list(range(8))}
    for kind in total_us:
        most = int(ask(f"most-hz {kind}")[0])
        rates = range(1, most + 1, 7)
        for rate, config in zip(rates, ask(*(f"config {kind} {hz} 80" for hz in rates)), strict=True):
            bits = int(config) >> 3 & (15 if kind == 219 else 7)
            assert total_us[kind][field[kind].index(bits)] * 1.1 <= 1e6 / rate + 1, (kind, rate)


@pytest.mark.parametrize("rate_hz", [1, 3, 4, 10, 50, 100, 200, 244, 245, 300, 331, 500, 800, 1000, 4000])
def test_the_timer_holds_every_rate_to_ten_parts_in_a_million_or_half_a_tick(ask, rate_hz):
    cycles = int(ask(f"timer 16000000 {rate_hz}")[0])
    divider = next(d for d in (1, 8, 64, 256) if 16e6 / d / rate_hz <= 65536.5)
    assert abs(cycles - 16e6 / rate_hz) <= divider / 2
    assert abs(cycles * rate_hz / 16e6 - 1) < 130e-6


@pytest.mark.parametrize(
    ("counts", "line"),
    [((512, 1, 1023), 34), ((512, 0, 0), 29), ((8000, 1, 8000), 35), ((32767, 1, 32767), 37)],
)
def test_the_longest_line_is_reckoned_as_it_is_written(ask, counts, line):
    largest, has_voltage, voltage = counts
    assert ask(f"longest-line {largest} {has_voltage} {voltage}") == [str(line)]
    if has_voltage:
        written = ask(f"sample-line 65535 4294967295 {-largest} {voltage}")[0]
        assert len(written) + 1 == line
    assert int(ask(f"lines-a-second 115200 {line}")[0]) == 11520 // line


def test_the_longest_line_with_pins_and_temperature_is_reckoned_as_it_is_written(ask):
    written = len("D,65535,4294967295,-32767,32767,15,-3660*CCCC\n")
    assert ask("longest-line-with-pins 32767 32767") == [str(written)]
    assert 115_200 // 10 // written >= 200


def test_the_divider_scales_the_voltage(ask):
    assert float(ask("divider 5000 47000 10000")[0]) == pytest.approx(5e6 * 5.7 / 1024, abs=1)


# ---- lines ----


def test_the_largest_and_least_sample_are_written_right_over_the_wrap_of_the_clock(ask):
    bodies = [
        line.split("*")[0]
        for line in ask("sample-line 65535 4294967295 -32768 32767", "sample-line 0 0 0 -1")
    ]
    assert bodies == ["D,65535,4294967295,-32768,32767", "D,0,0,0,-1"]


def test_a_line_of_120_bytes_is_sent_and_a_longer_one_is_not_cut_but_left_out(ask):
    assert ask("line-of-length 113", "line-of-length 114") == ["1 121", "0 0"]


# ---- the pins and the thermistor ----


def test_an_input_at_ground_is_closed_and_one_that_floats_up_is_open(ask):
    levels = [0b0000, 0b0100, 0b1000, 0b1100]  # D2 and D3
    assert ask(*(f"closed 1 1 {level}" for level in levels)) == ["3", "2", "1", "0"]
    assert ask(*(f"closed 1 0 {level}" for level in levels)) == ["1", "0", "1", "0"]
    assert ask("closed 0 0 0") == ["0"]


def test_a_contact_that_bounces_changes_once_and_only_when_it_is_quiet(ask):
    assert ask("debounce 200 0" + "101011111111") == ["000000001111"]  # 20 ms are four ticks
    assert ask("debounce 200 0" + "222221313333") == ["000022222333"]
    assert ask("debounce 10 0" + "0011") == ["0011"]


def test_a_closed_contact_that_chatters_reads_open_and_one_that_opened_once_in_a_while_does_not(ask):
    """What it is open for counts together until it has been closed for an eighth of a second without a break."""
    assert ask("debounce 200 1" + "000010000000") == ["111110000000"]
    assert ask("debounce 200 1" + "0001" * 4) == ["11111" + "0" * 11]
    assert ask("debounce 200 1" + "01" * 20) == ["1" * 8 + "0" * 32]
    once_in_a_while = "0000" + "1" * 26
    assert ask("debounce 200 1" + once_in_a_while * 3) == ["1" * 3 * len(once_in_a_while)]
    assert ask("debounce 200 3" + "2323232323") == ["3333333322"]  # the other one is left alone


@pytest.mark.parametrize("centigrade", [-30, -20, -10, 0, 10, 20, 25, 40, 60, 80])
def test_the_thermistor_follows_the_beta_equation(ask, centigrade):
    ohm = 10_000 * math.exp(3950 * (1 / (centigrade + 273.15) - 1 / 298.15))
    counts = round(1024 * ohm / (10_000 + ohm))
    read = int(ask("thermistor " + f"{counts} " * 80)[0].split()[-1]) / 100
    step = 298.15**2 / 3950 * 1024 / (counts * (1024 - counts)) * ((centigrade + 273.15) / 298.15) ** 2
    straight_lines = 0.3 if -20 <= centigrade <= 70 else 0.9
    assert read == pytest.approx(centigrade, abs=0.5 * step + straight_lines)


@pytest.mark.parametrize("counts", [0, 30, 63, 992, 1023])
def test_a_broken_wire_and_a_short_are_no_temperature_and_leave_nothing_behind(ask, counts):
    read = ask(f"thermistor 512 512 {counts} 512")[0].split()
    assert read == ["2500", "2500", "-32768", "2500"]


# ---- the one-wire probe ----


def crc8(data: bytes) -> int:
    """The same polynomial as a long division over the bits, lowest first: another way than the header's."""
    rest = 0
    for bit in [byte >> n & 1 for byte in data for n in range(8)] + [0] * 8:
        rest = rest << 1 | bit
        if rest & 0x100:
            rest ^= 0x131
    return int(f"{rest:08b}"[::-1], 2)


def scratchpad(sixteenths: int, mark: int = 0x21, config: int = 0x7F) -> bytes:
    body = sixteenths.to_bytes(2, "little", signed=True) + bytes(
        [mark, 0xFF - mark, config, 0xFF, 0x0C, 0x10]
    )
    return body + bytes([crc8(body)])


# Table "Temperature/Data Relationship" of the DS18B20's data sheet (its figures from memory).
DS18B20_TABLE = {
    0x07D0: 125,
    0x0550: 85,
    0x0191: 25.0625,
    0x00A2: 10.125,
    0x0008: 0.5,
    0x0000: 0,
    0xFFF8: -0.5,
    0xFF5E: -10.125,
    0xFE6F: -25.0625,
    0xFC90: -55,
}


@pytest.mark.parametrize(("register", "centigrade"), DS18B20_TABLE.items())
def test_the_probes_register_is_sixteenths_of_a_degree(ask, register, centigrade):
    signed = register - (register & 0x8000) * 2
    read = int(ask(f"scratchpad {scratchpad(signed).hex()} {0x21}")[0])
    assert read == pytest.approx(100 * centigrade, abs=0.5)


def test_a_scratchpad_with_any_one_bit_wrong_is_no_temperature(ask):
    right = int.from_bytes(scratchpad(400), "big")
    wrong = [(right ^ 1 << bit).to_bytes(9, "big").hex() for bit in range(72)]
    assert ask(*(f"scratchpad {each} {0x21}" for each in wrong)) == ["-32768"] * 72
    assert ask(f"scratchpad {scratchpad(400).hex()} {0x21}") == ["2500"]


def test_a_whole_scratchpad_of_another_measurement_or_of_a_line_that_is_down_is_no_temperature(ask):
    after_power_on = bytes.fromhex("50054b467fff0c10")
    others = [
        scratchpad(400, mark=0x20),  # another measurement's
        scratchpad(400, config=0x1F),  # 9 bits
        scratchpad(126 * 16),
        scratchpad(-56 * 16),
        after_power_on + bytes([crc8(after_power_on)]),
        bytes(9),  # the check of nothing is right
        b"\xff" * 9,
    ]
    assert ask(*(f"scratchpad {each.hex()} {0x21}" for each in others)) == ["-32768"] * len(others)


@pytest.fixture
def probe(header_programs):
    """What the board has for a temperature after each ``run``, and the traffic: (hundredths, resets, slots, shortest pause)."""

    def runs(*orders: str) -> list[tuple[int, int, int, int]]:
        said = answers_of(header_programs / "one_wire", orders)
        return [tuple(map(int, line.split())) for line in said.splitlines()]

    return runs


NONE = -32768


def degrees(rows) -> list[int]:
    return [row[0] for row in rows]


def test_a_probe_is_read_again_and_again_and_before_the_first_time_there_is_no_temperature(probe):
    assert degrees(probe("sixteenths 296", "run 500", "run 800", "sixteenths -85", "run 2500")) == [
        NONE,
        1850,
        -531,
    ]


def test_slots_are_single_and_keep_their_pause(probe):
    (row,) = probe("sixteenths 296", "run 5000")
    assert row[3] >= 300


def test_an_absent_probe_a_short_and_a_wrong_bit_are_no_temperature_and_leave_nothing_behind(probe):
    for trouble, mended in [("present 0", "present 1"), ("shorted 1", "shorted 0"), ("flip 3", "flip -1")]:
        read = degrees(probe("sixteenths 296", "run 1300", trouble, "run 2500", mended, "run 2500"))
        assert read == [1850, NONE, 1850], trouble


def test_nothing_is_done_to_a_line_that_is_held_down(probe):
    assert probe("shorted 1", "run 3000")[0][1:3] == (0, 0)


@pytest.mark.parametrize("after_ms", [5, 40, 200, 500, 700, 745, 760])
def test_the_85_degrees_of_a_probe_that_lost_its_supply_are_never_a_temperature(probe, after_ms):
    read = degrees(probe("sixteenths 296", f"run {after_ms}", "power-loss", "run 400", "run 2500"))
    assert read[1] in (NONE, 1850)
    assert read[2] == 1850
    every_50_ms = degrees(probe("sixteenths 296", f"run {after_ms}", "power-loss", *["run 50"] * 60))
    assert set(every_50_ms) <= {NONE, 1850}


def test_the_85_degrees_of_a_probe_that_never_converted_are_no_temperature_and_measured_ones_are(probe):
    assert degrees(probe("deaf 1", "run 4000")) == [NONE]
    assert degrees(probe("sixteenths 1360", "run 1300")) == [8500]


def test_a_conversion_that_never_ends_is_no_temperature(probe):
    assert degrees(probe("convert-ms 5000", "run 1500", "run 1500")) == [NONE, NONE]


def test_nothing_begins_that_would_not_be_over_before_the_next_sample(probe):
    assert probe("free-us 649", "run 3000")[0][1:3] == (0, 0)
    resets_only = probe("run 1", "free-us 99", "run 3000")[-1]
    assert resets_only[1:3] == (1, 0)
    assert probe("sixteenths 296", "free-us 650", "run 1300")[0][0] == 1850


def test_a_reading_that_grows_old_without_another_one_is_no_temperature_any_more(probe):
    assert degrees(probe("sixteenths 296", "run 1300", "free-us 10", "run 4000", "run 2000")) == [
        1850,
        1850,
        NONE,
    ]


# ---- the sampler ----


def test_every_tick_read_in_time_is_sent_in_order_without_loss(ask):
    assert ask("sample 5 trn") == ["0 1 2 3 4 waiting 0 lost 0"]


def test_a_tick_not_read_before_the_next_one_is_counted_and_its_number_stays_a_gap(ask):
    assert ask("sample 2 ttrn") == ["1 3 waiting 0 lost 2"]


def test_a_full_buffer_keeps_the_oldest_and_counts_the_rest(ask):
    assert ask("sample 50 tr") == ["waiting 32 lost 18"]


def test_numbers_wrap_after_65535_and_nothing_is_lost_at_the_wrap(ask):
    (answer,) = ask("sample 65538 trn")
    assert answer.endswith("65534 65535 0 1 waiting 0 lost 0")


def test_losses_are_counted_past_16_bits(ask):
    assert ask("sample 70001 t") == ["waiting 0 lost 70000"]


def test_an_alarm_is_told_once_and_armed_again_after_enough_good_ones(ask):
    assert ask("alarm 3 oxxxxooxoooxo") == ["0100000000010"]
