"""Protection codes in words. IEC 60529 (1989+A1+A2:2013) by several public summaries; IP69K: ISO 20653."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.machine.electrical import SOLIDS, WATER, read_code


def test_ip_1_first_numeral():
    """IP-1."""
    assert "1 mm" in SOLIDS["4"]
    assert "dust enough" in SOLIDS["5"]
    assert SOLIDS["6"] == "all dust"


def test_ip_2_second_numeral():
    """IP-2."""
    assert "splash" in WATER["4"]
    assert "6.3 mm" in WATER["5"]
    assert "12.5 litres" in WATER["5"]
    assert "12.5 mm" in WATER["6"]
    assert "100 litres" in WATER["6"]
    assert "1 m, 30 minutes" in WATER["7"]
    assert "80 degC" in WATER["9"]


def test_ip_3_immersion_does_not_include_jets():
    """IP-3."""
    assert {"5", "6"}.isdisjoint(read_code("IP67").water)
    assert {"4", "7"} <= read_code("IP67").water
    assert {"5", "6", "7"} <= read_code("IP66/IP67").water
    assert read_code("IP66/67").water == read_code("IP66/IP67").water
    assert {"1", "2", "3", "4", "5", "6"} <= read_code("IP66").water
    assert {"5", "6", "7", "8"}.isdisjoint(read_code("IP69K").water)
    assert "water jets" in read_code("IP67").lets_in


@pytest.mark.parametrize(
    ("code", "kept", "let_in"),
    [
        ("IP54", ["dust enough", "splashing"], ["fine dust", "water jets", "lying under water"]),
        ("IP65", ["all dust", "a water jet"], ["strong water jets", "lying under water"]),
        ("IP66", ["all dust", "strong water jet"], ["lying under water", "hot high-pressure"]),
        ("IP67", ["all dust", "lying under water"], ["water jets", "hot high-pressure"]),
        ("IP69", ["all dust", "hot high-pressure jet"], ["water jets", "lying under water"]),
        ("ip69k", ["hot high-pressure jet"], ["water jets"]),
        ("IPX5", ["a water jet"], ["dust (not stated)"]),
        ("IP20", ["12.5 mm"], ["any water"]),
    ],
)
def test_ip_4_codes_in_words(code, kept, let_in):
    """IP-4. Last clause (IP69K) from memory."""
    read = read_code(code)
    for word in kept:
        assert any(word in said for said in read.keeps_out), read.keeps_out
    for word in let_in:
        assert any(word in said for said in read.lets_in), read.lets_in


@pytest.mark.parametrize(
    "text", ["", "66", "IP", "IP7", "IP86", "IP6", "waterproof", "IP66 or so", "IP66/", "NEMA 4"]
)
def test_what_is_no_code_is_said_to_be_none(text):
    assert read_code(text) is None


@given(st.text(alphabet="IP0123456789XK/ ", max_size=14))
def test_no_text_breaks_the_reader(text):
    read = read_code(text)
    if read is not None:
        assert set(read.keeps_out).isdisjoint(read.lets_in)
