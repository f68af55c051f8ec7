"""When a sheet may be accepted: every rule made to bite, one at a time."""

from dataclasses import replace
from itertools import product

import pytest

from logger.core.acceptance import acceptance, least_success
from logger.core.assessment import Assessment, Check, Figures, Measured, Sign
from logger.core.rig import Actuator, LimitOverride, LockMechanism, Rig
from logger.core.sheet import (
    ANSWERS,
    BENCH,
    COMMISSIONING,
    KINDS,
    SEEN,
    Conditions,
    Sheet,
    SheetTrial,
    Sighting,
    as_found,
    cap,
    plan_for,
    seen_at,
)

RIG = Rig(
    "yard-loader",
    Actuator(12.0, 0.200, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011, duty_cycle=0.25),
    LockMechanism(0.188),
)
TOLD = Conditions(24.0, "no", 4.0, "machine battery", True, "bucket", "M. K.", "clamp meter 1")


def throw(position: int, direction: str, **changed: object) -> SheetTrial:
    check = Check("running current", Measured(2.0, 0.1), 2.88, "max", "A", "practice", "pass")
    judged = Assessment(
        file="",
        direction=direction,
        usable=True,
        unusable_because="",
        figures=Figures(run_current_a=Measured(2.0, 0.1)),
        end="cut-off",
        signs=(),
        checks=(check,),
        diagnoses=(),
        verdict="pass",
    )
    return SheetTrial(f"t{position}", position, replace(judged, **changed))


def sheet(kind: str = COMMISSIONING, **changed: object) -> Sheet:
    made = Sheet("s1", RIG.name, kind, plan_for(kind, RIG), conditions=TOLD, signed="M. K.")
    return replace(made, **changed)


def throws(each_way: int = 5) -> list[SheetTrial]:
    return [throw(n + 1, ("lock", "unlock")[n % 2]) for n in range(2 * each_way)]


def seen(trials: list[SheetTrial]) -> list[Sighting]:
    return [
        Sighting(t.id, "yes", "yes", "torch, both sides", "yes", "yes", "M. K.", id=f"g{t.id}")
        for t in trials
        if t.direction == "lock"
    ]


def judge(**changed: object):
    trials = changed.pop("trials", throws())
    sightings = changed.pop("sightings", seen(trials))
    return acceptance(sheet(**changed), trials, sightings, RIG)


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
    assert "at least 74 % of lock throws succeed" in judge(trials=trials).statement
    assert "at least 55 % of lock throws succeed (0.05^(1/5) = 0.549)" in judge().statement


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
    assert "5 lock throws are asked for, 4 are on the sheet" in judge(trials=trials, plan=few).missing
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
    assert missing == (f"throw 4 (unlock): running current: {decision}; measure the voltage too",)


def test_a_sign_at_level_fail_refuses_and_a_watch_sign_is_stated():
    for level, ok in (("fail", False), ("watch", True)):
        trials = throws()
        trials[0] = throw(1, "lock", signs=(Sign("low-supply", level, "11.2 V at rest"),), verdict=level)
        found = judge(trials=trials)
        assert found.ok is ok
        assert ("low-supply" in found.statement) is ok


def test_an_unusable_record_or_one_without_current_refuses():
    trials = throws()
    trials[0] = throw(1, "lock", usable=False, unusable_because="clipped", verdict="unusable")
    trials[1] = throw(2, "unlock", figures=Figures())
    assert len(judge(trials=trials).missing) == 2


def test_spread_over_the_limit_refuses_but_the_as_found_throw_is_left_out_of_it():
    heavy = Figures(run_current_a=Measured(2.4, 0.1))
    first, third = throws(), throws()
    first[0] = throw(1, "lock", figures=heavy)
    third[2] = throw(3, "lock", figures=heavy)
    assert judge(trials=first).ok
    assert "spreads" in judge(trials=third).missing[0]
    loose = replace(RIG, limits={"spread": LimitOverride(0.25, "old pins, spread known")})
    assert acceptance(sheet(), third, seen(third), loose).ok


def test_a_bench_sheet_is_never_accepted():
    assert "no pins to see" in judge(kind=BENCH).missing[0]


@pytest.mark.parametrize("signed", ["", "  "])
def test_nobody_signed_refuses(signed: str):
    assert judge(signed=signed).missing == ("nobody has signed",)


def test_a_no_is_not_outvoted_and_a_correction_needs_a_reason_and_a_name():
    no = Sighting("t1", left_pin="no", right_pin="yes", seen_by="M. K.", id="a")
    yes = Sighting("t1", left_pin="yes", right_pin="yes", seen_by="R. T.", id="b")
    assert seen_at("t1", [no, yes]).left_pin == "no"
    nameless = replace(yes, corrects="a", reason="wrong side written", seen_by="")
    assert seen_at("t1", [no, nameless]).left_pin == "no"
    unexplained = replace(yes, corrects="a", reason=" ")
    assert seen_at("t1", [no, unexplained]).left_pin == "no"
    assert seen_at("t1", [no, replace(yes, corrects="a", reason="wrong side written")]).left_pin == "yes"


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
    assert as_found(sheet(), trials) == {"t1"}
    assert as_found(sheet(conditions=Conditions()), trials) == {"t1"}
    assert as_found(sheet(conditions=replace(TOLD, hours_since_movement=0.2)), trials) == frozenset()


def test_rest_between_throws_keeps_the_duty_cycle():
    plan = plan_for(COMMISSIONING, RIG)
    run_s = 0.188 / 0.011
    assert run_s / (run_s + plan.rest_s) == pytest.approx(0.25)
    assert plan.rest_from == "data sheet"
    assert (
        "assumed"
        in plan_for(COMMISSIONING, replace(RIG, actuator=replace(RIG.actuator, duty_cycle=None))).rest_from
    )
