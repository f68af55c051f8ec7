"""When a sheet may be accepted: every rule made to bite, one at a time."""

from dataclasses import replace
from datetime import timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.core.sheet_builders import NOON, RIG, TOLD, seen, sheet, throw, throws
from tests.drawn import drawn
from throwbook.core.assessment import Check, Figures, Measured, Sign
from throwbook.core.records import ANSWERS, BENCH, COMMISSIONING, SEEN, PinAnswers, Sighting
from throwbook.core.rig import LimitOverride
from throwbook.core.sheets.acceptance import acceptance, least_success, who_saw
from throwbook.core.sheets.conditions import Conditions, answer_from, cap
from throwbook.core.sheets.sheet import KINDS, as_found, plan_details, plan_for, plan_from, seen_at
from throwbook.errors import InputError


def judge(**changed: object):
    trials = changed.pop("trials", throws())
    sightings = changed.pop("sightings", seen(trials))
    return acceptance(sheet(**changed), trials, sightings, RIG)


def ran_for(time_s: float):
    figures = Figures(run_current_a=Measured(2.0, 0.1), travel_time_s=Measured(time_s, 0.3))
    return [replace(one, assessment=replace(one.assessment, figures=figures)) for one in throws()]


def test_a_full_sheet_is_accepted():
    found = judge()
    assert found.ok
    assert found.missing == ()
    assert found.verdict == "pass"


@pytest.mark.parametrize(("n", "percent"), [(5, 55), (10, 74), (59, 95)])
def test_n_clean_throws_prove_the_exact_bound(n: int, percent: int):
    # No failure in n: the exact (Clopper-Pearson) one-sided lower bound is alpha ** (1 / n).
    assert round(100 * least_success(n)) == percent
    assert least_success(n) ** n == pytest.approx(0.05, rel=1e-12)


def test_the_statement_prints_the_bound_of_its_own_throws():
    trials = throws(10)
    assert "at least 74.1 % succeed" in judge(trials=trials).statement
    assert "at least 54.9 % succeed each way (0.05^(1/5), rounded down)" in judge().statement


@pytest.mark.parametrize(
    ("apart_s", "duty", "said"),
    [
        (60.0, 0.25, ()),
        (20.0, 0.25, ("shorter than the duty cycle of 25 % calls for",)),
        (20.0, None, ("shorter than the duty cycle of 25 % (assumed) calls for",)),
        (8.0, 0.25, ("9 throws began before the previous throw had ended",)),
        (0.0, 0.25, ("9 throws have no time of their own: nobody knows whether the rests were kept",)),
    ],
)
def test_rests_too_short_and_times_that_cannot_be_stand_in_the_statement(apart_s, duty, said):
    trials = [
        replace(one, started=NOON + timedelta(seconds=n * apart_s)) for n, one in enumerate(ran_for(14.0))
    ]
    rig = replace(RIG, actuator=replace(RIG.actuator, duty_cycle=duty))
    found = acceptance(sheet(), trials, seen(trials), rig)
    assert found.ok
    texts = " ".join(found.doubts)
    assert all(one in texts for one in said)
    assert bool(texts) == bool(said)


@pytest.mark.parametrize("entered_s", [0, 5])
def test_throws_entered_one_by_one_without_a_time_of_their_own_take_a_reason(entered_s):
    trials = [
        replace(one, started=NOON, entered=NOON + timedelta(seconds=n * entered_s))
        for n, one in enumerate(ran_for(11.2))
    ]
    found = judge(trials=trials)
    doubt = "9 throws have no time of their own: nobody knows whether the rests were kept"
    assert found.doubts == (doubt,)
    assert f"Doubtful: {doubt}." in found.statement
    assert found.impossible == ((doubt,) if entered_s else ())


def test_one_overlap_leaves_the_short_rests_of_the_others_said():
    at_s = [0, 20, 40, 60, 80, 100, 120, 140, 160, 165]
    trials = [
        replace(one, started=NOON + timedelta(seconds=s)) for s, one in zip(at_s, ran_for(14.0), strict=True)
    ]
    texts = " ".join(judge(trials=trials).doubts)
    assert "shorter than the duty cycle" in texts
    assert "1 throw began before the previous throw had ended" in texts


@pytest.mark.parametrize(("name", "answer"), list(product(SEEN, [a for a in ANSWERS if a != "yes"])))
@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != BENCH])
def test_any_sighting_but_yes_at_one_throw_refuses_any_kind_of_sheet(kind: str, name: str, answer: str):
    trials = throws()
    sightings = seen(trials)
    sightings[2] = replace(sightings[2], **{name: answer})
    found = judge(kind=kind, trials=trials, sightings=sightings)
    assert not found.ok
    assert found.statement == ""
    assert any(sentence.startswith("throw 5 (lock): ") for sentence in found.missing)


def test_no_sighting_at_all_names_every_lock_throw_and_both_sides():
    missing = judge(sightings=[]).missing
    for position in (1, 3, 5, 7, 9):
        for side in ("left", "right"):
            assert f"throw {position} (lock): {side} pin was not looked at" in missing


def test_a_sighting_of_another_trial_does_not_count():
    trials = throws()
    moved = [replace(one, trial="elsewhere") for one in seen(trials)]
    assert not judge(trials=trials, sightings=moved).ok


def test_four_lock_throws_are_too_few_and_the_plan_cannot_ask_for_fewer():
    trials = [t for t in throws() if t.position != 9]
    few = replace(plan_for(COMMISSIONING, RIG), throws_each_way=1)
    assert "5 lock throws required, 4 on the sheet" in judge(trials=trials, plan=few).missing
    assert plan_for(COMMISSIONING, RIG, 2).throws_each_way == 5
    assert plan_for(COMMISSIONING, RIG, 12).throws_each_way == 12


def test_the_same_trial_twice_does_not_make_up_the_number():
    trials = throws()
    trials[8] = replace(trials[0], position=9)
    assert not judge(trials=trials).ok


@pytest.mark.parametrize("decision", ["fail", "undecided", "not judged"])
def test_a_limit_that_is_not_met_refuses(decision: str):
    trials = throws()
    check = replace(trials[3].assessment.checks[0], decision=decision, settle="measure the voltage too")
    trials[3] = throw(4, "unlock", checks=(check,))
    missing = judge(trials=trials).missing
    assert len(missing) == 1
    assert missing[0].startswith(f"throw 4 (unlock): running current: {decision}; measure the voltage too")


def test_a_sign_at_level_fail_refuses_and_a_watch_sign_is_stated():
    for level, ok in (("fail", False), ("watch", True)):
        trials = throws()
        trials[0] = throw(1, "lock", signs=(Sign("low-supply", level, "11.2 V at rest"),), verdict=level)
        found = judge(trials=trials)
        assert found.ok is ok
        assert ("low supply" in found.statement) is ok


def test_an_unusable_record_or_one_without_current_refuses():
    trials = throws()
    trials[0] = throw(1, "lock", usable=False, unusable_because="clipped", verdict="unusable")
    trials[1] = throw(2, "unlock", figures=Figures())
    assert len(judge(trials=trials).missing) == 2


def test_only_the_supply_may_stay_unjudged_and_the_statement_says_so():
    trials = throws()
    supply = Check("supply_under_load", None, 10.8, "min", "V", "practice", "not judged")
    trials[0] = throw(1, "lock", checks=(*trials[0].assessment.checks, supply))
    found = judge(trials=trials)
    assert found.ok
    assert "Not proved, because nobody could read it: voltage under load." in found.statement
    assert found.not_proved == ("voltage under load",)


def test_a_throw_left_out_does_not_count_and_a_failed_one_cannot_be_hidden_so():
    trials = throws(6)
    trials[0] = replace(trials[0], left_out="wrong file")
    assert judge(trials=trials).ok
    trials[0] = replace(throw(1, "lock", verdict="fail"), left_out="wrong file")
    assert "plan a new sheet" in judge(trials=trials).missing[0]
    trials = throws(6)
    trials[0] = replace(trials[0], left_out="wrong file")
    for name in ("left_pin", "right_pin", "load_check", "retained_power_off"):
        sightings = [replace(one, **({name: "no"} if one.trial == "t1" else {})) for one in seen(trials)]
        assert "plan a new sheet" in judge(trials=trials, sightings=sightings).missing[0]
    trials = throws()
    trials[0] = replace(trials[0], left_out="wrong file")
    assert "5 lock throws required, 4 on the sheet" in judge(trials=trials).missing


def test_throws_dated_before_the_repair_prove_nothing_of_it():
    plan = replace(plan_for(COMMISSIONING, RIG), throws_after=NOON.isoformat())
    dated = [replace(one, started=NOON + timedelta(minutes=one.position)) for one in throws()]
    assert judge(trials=dated, plan=plan).ok
    assert judge(plan=plan).ok
    dated[4] = replace(dated[4], started=NOON - timedelta(days=3))
    assert judge(trials=dated).ok
    missing = judge(trials=dated, plan=plan).missing
    assert missing == (
        "throw 5 (lock): dated 2026-03-11 12:00, before the order that this sheet is to clear (2026-03-14 12:00)",
    )


def test_the_statement_says_what_was_measured_by_hand():
    trials = throws()
    trials[0] = replace(trials[0], by_hand=True)
    assert "Measured by hand: 1 throw." in judge(trials=trials).statement
    assert "by hand" not in judge().statement


def test_a_plan_comes_back_from_the_logbook_as_it_went_in():
    plan = plan_for(COMMISSIONING, RIG, 7, ("r1",), ("v1",))
    assert plan_from(plan_details(plan)) == plan
    assert plan_from({}).throws_each_way == 0


def test_spread_over_the_limit_is_to_watch_and_bars_nothing_and_the_as_found_throw_is_left_out_of_it():
    heavy = Figures(run_current_a=Measured(2.4, 0.1))
    first, third = throws(), throws()
    first[0] = throw(1, "lock", figures=heavy)
    third[2] = throw(3, "lock", figures=heavy)
    assert judge(trials=first).alerts == ()
    found = judge(trials=third)
    assert (found.ok, found.verdict) == (True, "watch")
    assert "Signs to watch: the running current of the lock throws spreads" in found.statement
    loose = replace(RIG, limits={"spread_run_current": LimitOverride(0.25, "old pins, spread known")})
    assert acceptance(sheet(), third, seen(third), loose).alerts == ()


def test_two_running_currents_already_show_a_spread():
    unread = Figures(travel_time_s=Measured(12.0, 0.1))
    trials = [
        throw(i, "lock", figures=unread) if i in (1, 3, 5) else one for i, one in enumerate(throws(), 1)
    ]
    trials[6] = throw(7, "lock", figures=Figures(run_current_a=Measured(2.4, 0.1)))
    assert any("the running current of the lock throws spreads" in one for one in judge(trials=trials).alerts)


@pytest.mark.parametrize("how", ["\u200b", " ", "-", "\u2060."])
def test_how_the_pins_were_seen_takes_words_that_can_be_read(how: str):
    sightings = [replace(one, how=how) for one in seen(throws())]
    assert "it is not recorded how the pins were seen" in judge(sightings=sightings).missing[0]


def test_the_statement_names_limits_that_the_rig_file_set_itself():
    from throwbook.core.rig import LimitOverride

    own = replace(RIG, limits={"run_current": LimitOverride(3.5, "it runs hot")})
    found = acceptance(sheet(), throws(), seen(throws()), own)
    assert "Limits set for this rig only: running current 3.5 A (this rig: it runs hot)." in found.statement
    assert "rig's own" not in judge().statement


def test_a_bench_sheet_is_never_accepted():
    assert "no pins to look at" in judge(kind=BENCH).missing[0]


@pytest.mark.parametrize("signed", ["", "  ", "\u200b", "\u3164", "."])
def test_nobody_signed_refuses(signed: str):
    assert judge(signed=signed).missing == ("nobody has signed",)


def test_a_no_is_not_outvoted_and_a_correction_needs_a_reason_and_a_name():
    no = Sighting("t1", "no", "yes", "torch", NOON, "M. K.", id="a")
    yes = Sighting("t1", "yes", "yes", "torch", NOON, "R. T.", replaces=("a",), id="b")
    assert seen_at("t1", [no, yes]).left_pin == "no"
    assert seen_at("t1", [no, replace(yes, reason=" ")]).left_pin == "no"
    assert seen_at("t1", [no, replace(yes, reason="wrong side written", by="")]).left_pin == "no"
    assert seen_at("t1", [no, replace(yes, reason="wrong side written")]).left_pin == "yes"
    corrected = replace(yes, replaces=("b",), reason="wrong side written", id="c")
    assert seen_at("t1", [no, yes, corrected]).left_pin == "yes"
    beside = replace(yes, replaces=(), reason="looked too", id="c")
    assert seen_at("t1", [no, yes, beside]).left_pin == "no"


def test_blank_hours_or_greasing_cap_the_verdict_at_watch_and_blanks_cost_claims():
    for blank in ("hours_since_movement", "worked_before"):
        capped = cap("pass", replace(TOLD, **{blank: None}))
        assert capped.verdict == "watch"
        assert len(capped.because) == 1
    assert cap("fail", Conditions()).verdict == "fail"
    assert cap("pass", TOLD) == cap("pass", TOLD).__class__("pass", (), ())
    assert len(cap("pass", Conditions()).claims_lost) == 8
    assert cap("pass", replace(TOLD, ambient_c=None)).claims_lost == (
        "comparison with checks in other weather",
    )


def test_the_first_throw_after_a_rest_of_hours_or_an_unknown_rest_is_as_found():
    trials = throws()
    assert as_found(TOLD, trials) == {"t1"}
    assert as_found(Conditions(), trials) == {"t1"}
    assert as_found(replace(TOLD, hours_since_movement=0.2), trials) == frozenset()


def test_rest_between_throws_keeps_the_duty_cycle():
    plan = plan_for(COMMISSIONING, RIG)
    # The full stroke at the rated push. Full-load speed and rated push may each be 10 % off, so the motor may have 9.9 mm/s
    # at 1350 N already; from 16 mm/s at no load its speed falls in a straight line on to 1500 N.
    run_s = 0.200 / (0.016 - (0.016 - 0.0099) * 1500.0 / 1350.0)
    assert run_s / (run_s + plan.rest_s) == pytest.approx(0.25)
    assert plan.rest_from == "data sheet"
    assert (
        "assumed"
        in plan_for(COMMISSIONING, replace(RIG, actuator=replace(RIG.actuator, duty_cycle=None))).rest_from
    )


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("hours_since_movement", "16", 16.0),
        ("hours_since_movement", "30min", 0.5),
        ("ambient_c", "-5", -5.0),
        ("ambient_c", "41 degF", 5.0),
        ("engine_running", "Yes", True),
        ("engine_running", "n", False),
        ("supply", " machine battery ", "machine battery"),
        ("operator", "  ", None),
    ],
)
def test_an_answer_is_read_as_typed(key: str, text: str, value: object):
    found = answer_from(key, text)
    assert found == (pytest.approx(value) if isinstance(value, float) else value)


def test_an_answer_that_is_none_is_refused():
    for key, text in (("hours_since_movement", "long"), ("ambient_c", "4 A"), ("engine_running", "perhaps")):
        with pytest.raises(InputError):
            answer_from(key, text)


@settings(max_examples=drawn(300, 80), deadline=None)
@given(
    each_way=st.integers(3, 7),
    data=st.data(),
    kind=st.sampled_from(sorted(KINDS)),
    signed=st.sampled_from(["M. K.", "", " "]),
)
def test_accepted_means_that_every_rule_was_kept_whatever_the_sheet(each_way, data, kind, signed):
    trials = throws(each_way)
    answers = st.sampled_from(["yes"] * 12 + ["no", "not looked"])
    sightings = [
        replace(one, **{name: data.draw(answers) for name in SEEN})
        for one in seen(trials)
        if data.draw(st.integers(0, 9))
    ]
    decision = data.draw(st.sampled_from(["pass"] * 4 + ["watch", "fail", "undecided", "not judged"]))
    check = replace(trials[0].assessment.checks[0], decision=decision)
    trials[0] = throw(1, "lock", checks=(check,))
    found = judge(kind=kind, trials=trials, sightings=sightings, signed=signed)
    by_trial = {one.trial: one for one in sightings}
    kept = (
        kind != BENCH
        and each_way >= max(KINDS[kind])
        and bool(signed.strip())
        and decision in ("pass", "watch")
        and all(
            one.id in by_trial and all(getattr(by_trial[one.id], name) == "yes" for name in SEEN)
            for one in trials
            if one.direction == "lock"
        )
    )
    assert found.ok == kept
    assert bool(found.statement) == kept
    assert bool(found.missing) != kept


def test_a_throw_that_is_yet_to_come_cannot_have_been_seen():
    trials = throws()
    trials[2] = replace(trials[2], started=NOON + timedelta(hours=20))
    found = judge(trials=trials, signed_at=NOON)
    assert not found.ok
    assert "throw 3 (lock): dated 2026-03-15 08:00, in the future" in found.missing[0]
    assert judge(trials=trials, signed_at=NOON + timedelta(hours=20)).ok
    trials[2] = replace(trials[2], started=NOON + timedelta(minutes=4))  # two clocks apart
    assert judge(trials=trials, signed_at=NOON).ok


def test_throws_judged_by_another_version_of_the_rig_file_carry_no_acceptance():
    trials = [replace(one, rig_version="new") for one in throws()]
    assert judge(trials=trials, rig_version="new").ok
    trials[0] = replace(trials[0], rig_version="old")
    found = judge(trials=trials, rig_version="new")
    assert len(found.missing) == 1
    assert "throw 1 (lock): judged by another version of the rig file" in found.missing[0]


def test_who_saw_is_who_wrote_it_down_and_else_who_signed():
    named = [PinAnswers(by=one) for one in ("Second Person", "First Person", "", "Second Person")]
    assert who_saw(named, "Third Person.") == "First Person, Second Person"
    assert who_saw([PinAnswers()], "Third Person.") == "Third Person"


def test_what_is_left_out_stands_in_the_statement_with_what_was_read():
    heavy = Figures(run_current_a=Measured(2.6, 0.4), travel_time_s=Measured(18.0, 0.3))
    apart = throw(11, "lock", figures=heavy, verdict="undecided")
    trials = throws()
    out = replace(apart, left_out="the meter held no peak")
    found = acceptance(sheet(), [*trials, out], seen(trials), RIG)
    assert found.ok
    said = "Left out: throw 11 (lock): undecided, 18.0 ± 0.3 s, 2.6 ± 0.4 A (the meter held no peak)."
    assert said in found.statement


def test_a_sign_that_something_else_explains_too_bars_whatever_stands_beside_it():
    doubt = Sign("light-run", "info", "it is not certain that any load was moved", settle="Record again.")
    sure = Sign("binding-spot", "watch", "0.4 A more current at 62 %")
    trials = [throw(1, "lock", signs=(sure, doubt), verdict="watch"), *throws()[1:]]
    found = judge(trials=trials)
    assert not found.ok
    assert any("not certain that any load was moved" in one for one in found.missing)
    assert judge(trials=[throw(1, "lock", signs=(sure,), verdict="watch"), *throws()[1:]]).ok
