"""What a status doesn't speak for stands beside it until somebody answers."""

from dataclasses import replace

from tests.core.sizing.test_fit import RIG, changed
from throwbook.core.sizing.sizing import Gap, coverage_line, not_covered


def test_a_rig_whose_suitability_passes_leaves_nothing_open():
    assert not_covered(RIG) == ()
    assert coverage_line(()) == ""


def test_what_fails_stands_before_what_is_undecided_and_says_what_to_do():
    rig = replace(changed(lock={"needed_force_n": 1200.0}), wiring=None)
    gaps = not_covered(rig)
    assert [one.short for one in gaps][:1] == ["force margin FAILS"]
    assert {"cable", "fuse"} <= {one.about for one in gaps}
    assert coverage_line(gaps).startswith("Not covered: suitability (force margin FAILS, ")
    fuse = next(one for one in gaps if one.about == "fuse")
    assert (
        fuse.sentence
        == "fuse: no fuse is entered; a cable without a fuse can burn. Give wiring.fuse, or fit one."
    )


def test_blanks_of_the_accepted_sheet_are_named_beside():
    blanks = [("attachment fitted", "any particular attachment"), ("operator", "whom to ask")]
    (blank,) = not_covered(RIG, blanks)
    about = "not recorded on the accepted sheet (attachment fitted, operator)"
    assert blank.sentence == f"{about}: not covered: any particular attachment; whom to ask."
    said = "Not recorded on the accepted sheet: attachment fitted, operator."
    assert coverage_line([blank]) == said
    assert coverage_line([Gap("fuse"), blank]) == f"Not covered: suitability (fuse). {said}"
