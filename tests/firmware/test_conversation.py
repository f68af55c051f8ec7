"""The board's side of the talk, compiled for the PC, with a made-up port and sensor."""

from binascii import crc_hqx

import pytest

from tests.firmware.tools import answers_of

pytestmark = pytest.mark.long

UP = "step 1"


def command(body: str) -> str:
    return "pc " + f"{body}*{crc_hqx(body.encode(), 0xFFFF):04X}\n".encode().hex()


@pytest.fixture
def raw_talk(header_programs):
    def text(*orders: str) -> str:
        return answers_of(header_programs / "conversation", orders)

    return text


@pytest.fixture
def talk(raw_talk):
    def bodies(*orders: str) -> list[str]:
        """What the board sent, each line's check tried and taken off; in brackets what it told its sensor."""
        lines = raw_talk(*orders).splitlines()[1:]
        for line in lines:
            if not line.startswith("["):
                body, check = line.split("*")
                assert check == f"{crc_hqx(body.encode(), 0xFFFF):04X}", line
        return [line.split("*")[0] for line in lines]

    return bodies


def test_a_line_feed_comes_first_so_that_a_line_cut_by_a_reset_does_not_swallow_its_name(raw_talk):
    assert raw_talk(UP).startswith("\nB,1,")


WHO = "B,1,bench-1,test-1.0,200,1000,4000,32000,IV"


def test_it_says_who_it_is_at_power_up_and_on_request(talk):
    assert talk(UP, command("who"), "step 2") == [WHO, WHO]


PINS = WHO.replace("B,1,", "B,2,") + "ST"


def test_a_board_with_switches_and_a_thermistor_says_so_and_sends_them(talk):
    rows = ["sample 0 5000 -12 3150 0", "sample 1 10000 7 -1 2", "sample 2 15000 7 -1 3"]
    said = talk("beside 12 1850", UP, command("go"), *rows, "step 9")
    assert said == [
        PINS,
        "[start]",
        "K,go",
        "D,0,5000,-12,3150,12,1850",
        "D,1,10000,7,-1,14,1850",
        "D,2,15000,7,-1,15,1850",
    ]


def test_a_thermistor_that_does_not_answer_is_an_x_and_cold_is_below_zero(talk):
    said = talk(
        "beside 4 -32768",
        UP,
        command("go"),
        "sample 0 5 1 2 1",
        "step 3",
        "beside 4 -1205",
        "sample 1 9 1 2 0",
        "step 3",
    )
    assert said[-2:] == ["D,0,5,1,2,5,x", "D,1,9,1,2,4,-1205"]


def test_without_switches_only_the_temperature_is_sent(talk):
    said = talk("beside 0 1850", UP, command("go"), "sample 0 5 1 2", "step 3")
    assert said[0] == WHO.replace("B,1,", "B,2,") + "T"
    assert said[-1] == "D,0,5,1,2,1850"


def test_a_ping_is_answered(talk):
    assert talk(UP, command("ping"), "step 2") == [WHO, "K,ping"]


def test_samples_flow_from_go_to_halt_and_none_after_the_answer_to_halt(talk):
    said = talk(UP, command("go"), "sample 0 5000 -12 3150", "sample 1 10000 7 -1", command("halt"), "step 9")
    assert said == [WHO, "[start]", "K,go", "[stop]", "D,0,5000,-12,3150", "D,1,10000,7,-1", "K,halt"]


def test_a_second_go_does_not_start_again(talk):
    assert talk(UP, command("go"), command("go"), "step 4") == [WHO, "[start]", "K,go", "K,go"]


def test_a_rate_it_can_carry_is_taken_and_told_with_its_name(talk):
    said = talk(UP, command("rate,320"), command("who"), "step 4")
    assert said == [WHO, "[rate 320]", "K,rate", WHO.replace(",200,", ",320,")]


@pytest.mark.parametrize(
    ("rate", "reason"),
    [
        ("321", "at most 320/s through this serial line"),
        ("1000000", "at most 320/s through this serial line"),
    ],
)
def test_a_rate_it_cannot_carry_is_refused_with_the_reason(talk, rate, reason):
    assert talk(UP, command(f"rate,{rate}"), "step 2") == [WHO, f"N,rate,{reason}"]


def test_what_is_no_command_is_not_answered(talk):
    assert talk(UP, command("stop"), command("rate,0"), command("Go"), "pc 676f0a", "step 5") == [WHO]


def test_go_without_a_sensor_is_refused_and_taken_once_it_is_there(talk):
    said = talk("answers 0", UP, "step 1", command("go"), "step 2", "answers 1", command("go"), "step 2")
    assert said == [
        WHO,
        "F,sensor-absent,gone",
        "N,go,sensor absent",
        "F,sensor-absent,gone",
        "[start]",
        "K,go",
    ]


def test_a_sensor_that_goes_silent_is_told_once_each_time(talk):
    said = talk(
        UP, command("go"), "step 2", "answers 0", "step 5", "answers 1", "step 2", "answers 0", "step 5"
    )
    assert said == [WHO, "[start]", "K,go", "F,sensor-absent,gone", "F,sensor-absent,gone"]


def test_a_sensor_that_lost_its_settings_is_told(talk):
    assert talk(UP, "reset", "step 3") == [WHO, "F,sensor-reset,settings lost, written again"]


def test_over_range_is_told_at_its_first_sample_either_way(talk):
    said = talk(UP, command("go"), "step 1", "sample 4 1 -32000 0", "sample 5 2 -32000 0", "step 4")
    assert said == [WHO, "[start]", "K,go", "D,4,1,-32000,0", "F,over-range,from sample 4", "D,5,2,-32000,0"]


def test_a_loss_is_told_with_its_count_and_only_once(talk):
    said = talk(UP, command("go"), "step 1", "lost 17", "step 3", "lost 19", "sample 40 1 0 0", "step 3")
    assert said == [
        WHO,
        "[start]",
        "K,go",
        "F,overrun,17 samples lost",
        "F,overrun,2 samples lost",
        "D,40,1,0,0",
    ]


def test_a_loss_still_untold_is_told_before_the_answer_to_halt(talk):
    said = talk(UP, command("go"), "step 1", "lost 3", command("halt"), "step 1")
    assert said[-2:] == ["F,overrun,3 samples lost", "K,halt"]


def test_while_the_loss_lasts_it_is_told_after_every_64_samples(talk):
    rows = [f"sample {n} {n} 0 0" for n in range(110)]
    said = talk(UP, command("go"), "step 1", "lost 1", *rows, "step 10", "lost 2", "step 80")
    told = [place for place, body in enumerate(said) if body.startswith("F,overrun")]
    assert len(told) == 2
    assert told[1] - told[0] == 65


def test_a_full_port_holds_the_line_and_no_byte_goes_missing(talk):
    whole = talk(UP, command("ping"), "step 3")
    in_pieces = talk("room 5", UP, command("ping"), *["room 3", "step 1"] * 40)
    assert in_pieces == whole
