"""Profiles over the years: a place that binds more and more, told from drag everywhere and from one muddy check."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from throwbook.core.assessment import Figures, Profile
from throwbook.core.rig import DIRECTIONS, LOCK, Actuator, LockMechanism, Rig
from throwbook.core.trend import profile_trend
from throwbook.core.trend.history import (
    RigHistory,
    SeasonCheck,
    SeasonService,
    SeasonThrow,
)
from throwbook.core.trend.profile_trend import CheckBump, check_profiles, spot_effects, spots_among

RIG = Rig("yard-loader", Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6), LockMechanism(0.18))
START = date(2022, 3, 1)
X = (np.arange(100) + 0.5) / 100


def check(i, bump_a, place=0.6, drag=0.0, kind="seasonal", seed=0):
    """The mechanism's own hump at 0.3; ``bump_a`` at ``place``; on the way back both are mirrored."""
    rng = np.random.default_rng(100 * seed + i)
    throws = []
    for direction in DIRECTIONS:
        x = X if direction == LOCK else 1.0 - X
        for _ in range(3):
            amps = (2.0 + 0.5 * np.exp(-0.5 * ((x - 0.3) / 0.08) ** 2)) * (1 + drag)
            amps = amps + bump_a * np.exp(-0.5 * ((x - place) / 0.03) ** 2) + rng.normal(0, 0.02, 100)
            throws.append(
                SeasonThrow(direction, Figures(), profile=Profile(X, amps, np.full(100, 0.02), 0.005))
            )
    return SeasonCheck(START + timedelta(days=91 * i), f"s{i}", kind, tuple(throws))


def spots(checks, services=()):
    return spots_among(
        {one: check_profiles(RigHistory(RIG, tuple(checks), tuple(services)), one) for one in DIRECTIONS}
    )


def test_a_growing_place_is_named_in_both_directions_mirrored():
    found = spots([check(i, bump_a=max(0.0, 0.15 * (i - 2))) for i in range(8)])
    assert [one.direction for one in found] == list(DIRECTIONS)
    assert found[0].at_fraction == pytest.approx(0.6, abs=0.02)
    assert found[1].at_fraction == pytest.approx(0.4, abs=0.02)
    assert found[0].size_a == pytest.approx(0.75, rel=0.2)
    assert found[0].per_year_a == pytest.approx(0.6, rel=0.3)
    assert found[0].since <= START + timedelta(days=91 * 5)


def test_drag_everywhere_is_no_place():
    assert spots([check(i, 0.0, drag=0.05 * i) for i in range(8)]) == []


def test_one_muddy_check_is_no_place():
    assert spots([check(i, 0.6 if i == 4 else 0.0) for i in range(6)]) == []
    assert spots([check(i, 0.6 if i == 5 else 0.0) for i in range(6)]) == []


def test_steady_rigs_have_none():
    assert all(not spots([check(i, 0.0, seed=seed) for i in range(8)]) for seed in range(10))


def test_after_the_repair_the_place_is_gone():
    worn = [check(i, bump_a=0.2 * i) for i in range(5)]
    mended = [check(i, bump_a=0.0) for i in range(5, 8)]
    service = SeasonService(START + timedelta(days=91 * 5 - 4), "repaired", True)
    assert spots(worn)
    assert spots(worn + mended, [service]) == []
    history = RigHistory(RIG, tuple(worn + mended), (service,))
    effects = spot_effects(history, {one: check_profiles(history, one) for one in DIRECTIONS})
    assert [one.answer for one in effects] == ["helped", "helped"]
    assert [one.at_fraction for one in effects] == pytest.approx([0.6, 0.4], abs=0.02)
    assert effects[0].change == pytest.approx(effects[0].after - effects[0].before)
    assert effects[0].high < 0


@pytest.mark.parametrize(
    ("checks_after", "throws_after", "effects"), [(0, 0, 0), (1, 1, 0), (1, 2, 2), (1, 3, 2)]
)
def test_a_place_shows_an_effect_where_two_throws_each_way_came_after_the_service(
    checks_after, throws_after, effects
):
    worn = [check(i, bump_a=0.2 * i) for i in range(5)]
    mended = [check(5, bump_a=0.0)] * checks_after
    kept = [
        replace(one, throws=one.throws[:throws_after] + one.throws[3 : 3 + throws_after]) for one in mended
    ]
    service = SeasonService(START + timedelta(days=91 * 5 - 4), "repaired", True)
    history = RigHistory(RIG, (*worn, *kept), (service,))
    found = spot_effects(history, {one: check_profiles(history, one) for one in DIRECTIONS})
    assert [(one.n_before, one.n_after) for one in found] == [(3, throws_after)] * effects


def test_checks_without_profiles_say_nothing():
    bare = SeasonCheck(START, "s", "seasonal", (SeasonThrow(LOCK, Figures()),))
    assert spots([bare, bare]) == []


def test_the_uncertainty_of_a_place_is_that_of_the_mean_of_its_checks():
    """JCGM 100:2008, 4.2.3: s over the root of n; half a hundredth of the stroke on top (assumed), k = 2."""
    places = [0.60, 0.61, 0.62, 0.61]
    found = profile_trend._spot(
        "lock", [CheckBump(START + timedelta(days=91 * i), at, 0.3, 1.5) for i, at in enumerate(places)]
    )
    assert found.at_fraction_u == pytest.approx(2.0 * np.hypot(np.std(places, ddof=1) / 2.0, 0.005))
