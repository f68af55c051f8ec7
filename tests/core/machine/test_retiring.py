"""The line that retires a rig reads back as what was written, whatever letters it has."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.quantities.text import written
from throwbook.core.rig import awake_text, retired_because, retired_text

RIG = 'name = "yard-loader"\n\n[lock]\nneeded_travel = "188 mm"\n'


@given(st.text(max_size=60).map(written).filter(bool))
def test_any_reason_a_person_can_write_reads_back(because):
    toml = retired_text(RIG, because)
    assert tomllib.loads(toml)["retired"] == because
    assert retired_because(toml) == because
    assert awake_text(toml) == RIG


def test_a_picture_letter_breaks_nothing():
    assert retired_because(retired_text(RIG, "sold \U0001f600")) == "sold \U0001f600"
