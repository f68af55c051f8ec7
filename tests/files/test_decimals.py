"""The quick conversion gives exactly what Python's own float() gives, or nothing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.files.csv_rows import plain_decimals

plain = st.from_regex(
    r"-?[0-9]{1,9}(\.[0-9]{0,5})?|-?\.[0-9]{1,9}", fullmatch=True, alphabet=st.characters(max_codepoint=127)
)
anything = st.text(st.sampled_from("0123456789.-+eE \"'nai_x"), max_size=20)


@given(
    st.integers(1, 4).flatmap(
        lambda width: st.lists(st.lists(plain, min_size=width, max_size=width), min_size=1)
    )
)
def test_plain_decimals_are_read_to_the_last_bit(rows):
    block = "".join(",".join(row) + "\n" for row in rows).encode()
    values = plain_decimals(block, len(rows[0]))
    assert values is not None
    assert values.tobytes() == np.array([[float(cell) for cell in row] for row in rows]).tobytes()


@given(st.lists(st.tuples(anything, anything), min_size=1))
def test_whatever_is_in_the_cells_the_answer_is_exact_or_none(rows):
    values = plain_decimals("".join(",".join(row) + "\n" for row in rows).encode(), 2)
    if values is not None:
        assert values.tolist() == [[float(cell) for cell in row] for row in rows]


@pytest.mark.parametrize(
    "block",
    ["", "1,2", "1\n2,3\n", "1,2,3\n", "1,2\n3\n", "1,\n", ",\n", "-,1\n", ".,1\n", "1.2.3,4\n", "1,2\n\n"],
)
def test_a_block_that_is_not_a_table_of_numbers_gives_none(block):
    assert plain_decimals(block.encode(), 2) is None


def test_many_digits_are_left_to_the_slow_way():
    assert plain_decimals(b"123456789012345,1\n", 2) is None
    assert plain_decimals(b"0.1234567890123,1\n", 2).tolist() == [[0.1234567890123, 1.0]]
