"""No number that the seasons rest on moves by a twentieth unseen.

What the trends of some drawn rigs say is kept in ``tests/golden/trend.json``; left to ``make test-all``, each number of the rooms'
own is moved, and what is said must then differ from it. A changed number is looked at, then written anew:

    THROWBOOK_GOLDEN=write pytest tests/core/trend/test_constants.py
"""

import ast
import importlib
import inspect
import json
import os
import pkgutil
from dataclasses import asdict, fields, replace
from datetime import timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.season_histories import PLAIN, ROUGH, make_history, quarterly, with_every_figure
from tests.core.trend import test_profile_history as binding
from tests.looked_at import differs, plain
from throwbook.core import trend
from throwbook.core.rig import DIRECTIONS
from throwbook.core.trend import profile_trend, series
from throwbook.core.trend.advisory import next_action
from throwbook.core.trend.history import ENERGY, RigHistory, SeasonService
from throwbook.core.trend.profile_trend import check_profiles, spot_effects, spot_heights, spots_among
from throwbook.core.trend.series import ALLOWANCES, Allowance
from throwbook.core.trend.trend_result import to_json, trends_of

GOLDEN = Path(__file__).parents[2] / "golden" / "trend.json"
CHECKS = 12
QUARTERS = np.arange(CHECKS) / 4

LEFT = {
    "TINY": "a chance of nought has no quantile; any smaller number does as well",
    "STEPS": "how finely the years ahead are cut; the forecast is interpolated",
    "WORTH_FITTING": "leaves out onsets that hardly count: time, not figures",
    "WORTH_LISTING": "a growth that is likelier a fall is never near its limit",
    "SLOPE_CHECKS": "of stages of more than 500 checks: test_long_histories",
    "FORECAST_CHECKS": "of stages of more than 100 checks: test_long_histories",
    "MOST_ONSETS": "of stages of more than 16 checks; another grid of onsets, not another figure",
    "WEATHER": "a number of columns",
    "EXACT_UP_TO": "which way of counting: test_mk_4",
    "ONE_MORE": "of the cab card and blank sheet: tests/report/test_forms.py and its papers",
    "ENOUGH_CHECKS": "as above",
    "ENOUGH_K": "as above",
    "OWN": "a number of columns",
}
"""Numbers that this doesn't move, and why."""
HELD = {
    "forecast.GROWS": 0.80,
    "profile_trend.CHANCE": 0.001,
    "profile_trend.MIRRORED": 0.4,
    "profile_trend.PLACES": 25,
    "profile_trend.SAME_PLACE": 0.04,
    "change_test.SHIFT_WITHIN": 2,
    "maintenance_effect.SAME_DAYS": 1,
    "maintenance_effect.PULLED_IN": 3.0,
    "trend_result.FEWEST_BEFORE": 6,
    "trend_result.CHANCE": 5e-4,
    "trend_result.SMALLEST": 0.04,
    "control_chart.PLAIN_CHANCE": 0.05,
}
"""Limits that only a figure next to them would show: held as they stand, each marked where it stands."""
SMALLEST = {
    "run_current": 0.055,
    "peak_run_current": 0.06,
    "travel_time": 0.04,
    "source_resistance": 0.25,
    "take_up": 0.02,
    "switch_lag": 0.01,
}


def rig(seed, style, wear, services=(), twins=(), limit=None):
    kinds = ("commissioning", *("after-service" if i in services else "seasonal" for i in range(1, CHECKS)))
    plan = replace(quarterly(CHECKS, wear), kinds=kinds, services=services, twins=twins)
    return make_history(np.random.default_rng(seed), style, plan, limit=limit).history


def gaps_in(history):
    """Temperatures and a voltage that weren't recorded, a check with one outlying throw, throws timed by hand, first throws."""
    checks = list(history.checks)
    for i in (3, 8):
        checks[i] = replace(checks[i], ambient_c=None)

    def changed(i, **figures):
        throws = [replace(one, figures=replace(one.figures, **figures)) for one in checks[i].throws]
        checks[i] = replace(checks[i], throws=tuple(throws))

    changed(4, mean_voltage_v=None)
    throws = list(checks[6].throws)
    amps = throws[0].figures.run_current_a
    throws[0] = replace(
        throws[0], figures=replace(throws[0].figures, run_current_a=amps._replace(value=1.3 * amps.value))
    )
    checks[6] = replace(checks[6], throws=tuple(throws))
    checks[9] = replace(checks[9], throws=tuple(replace(one, by_hand=True) for one in checks[9].throws))
    return replace(history, checks=tuple(checks))


def jumpy(history):
    """The newest three checks scatter, each throw further from the others."""
    checks = list(history.checks)
    for i in (-3, -2, -1):
        throws = []
        for n, one in enumerate(checks[i].throws):
            amps = one.figures.run_current_a
            odd = amps._replace(value=amps.value * (1.0 + 0.05 * (n % 3 - 1)))
            throws.append(replace(one, figures=replace(one.figures, run_current_a=odd)))
        checks[i] = replace(checks[i], throws=tuple(throws))
    return replace(history, checks=tuple(checks))


def spots_of(history):
    profiles = {one: check_profiles(history, one) for one in DIRECTIONS}
    # a place between two of the profile's, so that one more or less lies within reach of it
    places = list(zip(DIRECTIONS, (0.5955, 0.4045), strict=True))
    (lock, unlock) = (profile_trend._bumps(profiles[one], 1) for one in DIRECTIONS)
    return {
        "bumps": [profile_trend._judged(one, unlock.get(sheet)).stands_out for sheet, one in lock.items()],
        "by itself": [profile_trend._judged(one, None).stands_out for one in lock.values()],
        "spots": [
            asdict(one) for one in spots_among({one: check_profiles(history, one) for one in DIRECTIONS})
        ],
        "effects": [asdict(one) for one in spot_effects(history, profiles)],
        "heights": [asdict(one) for one in spot_heights(history, places)],
    }


def seasons_of(history):
    trends = trends_of(history)
    action = next_action(history, trends, history.checks[-1].on)
    return {"trends": [to_json(one) for one in trends], "action": asdict(action)}


def binding_rig():
    """A place that binds, mends, and binds a little: bumps near each limit that decides."""
    grows = [binding.check(i, bump_a=0.05 * i) for i in range(6)]
    mended = [binding.check(i, bump_a=0.03 * (i - 6), place=0.6 + 0.012 * i) for i in range(6, 10)]
    service = SeasonService(binding.START + timedelta(days=91 * 6 - 4), "repaired", True)
    return RigHistory(binding.RIG, tuple(grows + mended), (service,))


@cache
def cases():
    """Each rig once, and what is asked of it: the quick ones first."""
    growth = 0.15 * np.maximum(0.0, QUARTERS - 0.75)
    return [
        ("grows", rig(1, PLAIN, growth, limit=0.6), seasons_of),
        ("serviced, with gaps", gaps_in(rig(3, ROUGH, 0.02 * QUARTERS, (5, 9), twins=(9,))), seasons_of),
        ("jumpy", jumpy(rig(4, PLAIN, 0 * QUARTERS)), seasons_of),
        ("lighter", rig(5, PLAIN, -0.2 * (QUARTERS > 2.0)), seasons_of),
        ("binds", binding_rig(), spots_of),
        ("crept", rig(6, PLAIN, 0.12 * (QUARTERS >= 1.5), (6,)), seasons_of),
        ("every figure", with_every_figure(rig(7, ROUGH, growth), np.random.default_rng(9)), seasons_of),
    ]


def test_what_the_trends_say_is_as_it_was_looked_at():
    said = {name: plain(ask(history)) for name, history, ask in cases()}
    if os.environ.get("THROWBOOK_GOLDEN") == "write":
        GOLDEN.write_text(json.dumps(said, indent=0) + "\n", "utf-8")
    golden = json.loads(GOLDEN.read_text("utf-8"))
    assert [name for name in said if differs(golden[name], said[name])] == []


def numbers():
    """(module, name) of each number, or tuple or array of them, that a room of the seasons gives a name."""
    for one in pkgutil.iter_modules(trend.__path__):
        module = importlib.import_module(f"{trend.__name__}.{one.name}")
        for node in ast.parse(inspect.getsource(module)).body:
            if not isinstance(node, ast.Assign):
                continue
            for name in (
                leaf.id for target in node.targets for leaf in ast.walk(target) if isinstance(leaf, ast.Name)
            ):
                if name.isupper() and _is_number(getattr(module, name)):
                    yield module, name


def _is_number(value):
    if isinstance(value, tuple):
        return bool(value) and all(isinstance(one, float) for one in value)
    return isinstance(value, int | float | np.ndarray | timedelta)


def moved(value, by):
    if isinstance(value, int):
        return value + (1 if by > 1.0 else -1)
    return tuple(one * by for one in value) if isinstance(value, tuple) else value * by


def noticed():
    golden = json.loads(GOLDEN.read_text("utf-8"))
    for name, history, ask in cases():
        try:
            if differs(golden[name], plain(ask(history))):
                return True
        except (ValueError, IndexError, ZeroDivisionError):
            return True
    return False


def everywhere(patch, module, name, new):
    """Set it where it stands and where it was imported, under this name or one that ends with it."""
    old = getattr(module, name)
    patch.setattr(module, name, new)
    for one in pkgutil.iter_modules(trend.__path__):
        other = importlib.import_module(f"{trend.__name__}.{one.name}")
        for alias in [alias for alias in vars(other) if alias.isupper() and alias.endswith(name)]:
            if getattr(other, alias) is old:
                patch.setattr(other, alias, new)


def in_room(module, name):
    return f"{module.__name__.split('.')[-1]}.{name}"


NUMBERS = [
    (module, name) for module, name in numbers() if name not in LEFT and in_room(module, name) not in HELD
]


@pytest.mark.long
@pytest.mark.parametrize(("module", "name"), NUMBERS, ids=[in_room(*one) for one in NUMBERS])
def test_a_number_that_moves_by_a_twentieth_is_noticed(module, name, monkeypatch):
    for by in (1.05, 1.0 / 1.05):
        with monkeypatch.context() as patch:
            everywhere(patch, module, name, moved(getattr(module, name), by))
            if noticed():
                return
    pytest.fail(f"{name} of {module.__name__} can be 5 % wrong and nothing says so")


PARTS = [
    (figure, part.name)
    for figure in ALLOWANCES
    for part in fields(Allowance)
    if part.name not in ("relative", "smallest", "size")
    and figure != ENERGY  # which is made of two others: test_energy_scatters
]


@pytest.mark.long
@pytest.mark.parametrize(("figure", "part"), PARTS)
def test_an_allowance_that_moves_by_a_twentieth_is_noticed(figure, part, monkeypatch):
    was = getattr(ALLOWANCES[figure], part)
    for index in range(len(was)) if isinstance(was, tuple) else (None,):
        new = (
            was * 1.05
            if index is None
            else tuple(one * (1.05 if i == index else 1.0) for i, one in enumerate(was))
        )
        if new == was:
            continue  # nought stays nought
        with monkeypatch.context() as patch:
            moved_all = {**ALLOWANCES, figure: replace(ALLOWANCES[figure], **{part: new})}
            for module in (series, series):
                patch.setattr(module, "ALLOWANCES", moved_all)
            assert noticed(), (figure, part, index)


def test_limits_are_held():
    assert {in_room(*one): getattr(*one) for one in numbers() if in_room(*one) in HELD} == HELD
    assert {figure: ALLOWANCES[figure].smallest for figure in SMALLEST} == SMALLEST


def test_what_is_left_out_is_there():
    assert set(LEFT) <= {name for _, name in numbers()}
