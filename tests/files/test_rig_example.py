"""The example rig file is whole and sound."""

import pytest

from throwbook.core.machine.limits import LIMITS, limits_for
from throwbook.core.machine.rig_validation import problems
from throwbook.core.sizing.sizing import fit
from throwbook.files.rig_file import EXAMPLE, SECTIONS, parse_rig


def test_the_example_is_a_sound_rig_without_an_unknown_key():
    read = parse_rig(EXAMPLE, "example")
    assert read.warnings == ()
    assert problems(read.rig) == ()
    assert fit(read.rig).missing == ()


@pytest.mark.parametrize("section", list(SECTIONS))
def test_every_key_is_in_it_and_the_optional_ones_are_marked(section):
    body = EXAMPLE.split(f"\n[{section}]")[1].split("\n[")[0].splitlines()
    must = {key: needed for key, _, _, needed in SECTIONS[section]}
    lines = {line.split(" =")[0]: line for line in body if " = " in line and not line.startswith("#")}
    assert set(lines) == set(must)
    for key, needed in must.items():
        assert not (needed and "optional" in lines[key]), key


def test_the_limits_it_names_are_the_limits_there_are():
    for name in LIMITS:
        assert name in EXAMPLE
    rig = parse_rig(EXAMPLE, "example").rig
    assert limits_for(rig)["travel_time_high"].value == pytest.approx(1.15)
