"""A logbook with one rig, and the makers of what goes into it."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from throwbook.core.assessment import (
    Assessment,
    Check,
    Diagnosis,
    Figures,
    Measured,
    Profile,
    Sign,
)
from throwbook.core.trace import Trace
from throwbook.logbook import open_logbook

NOW = datetime(2026, 3, 14, 9, 12, 33, tzinfo=UTC)
RIG = "quarry-loader"
TOML = 'name = "quarry-loader"\nunits = "metric"\n'


def make_trace(seed=1, rig=RIG, direction="lock", started=NOW, samples=3000, rate_hz=200):
    """A plausible record of our own making: enough for storage, which doesn't look inside."""
    random = np.random.default_rng(seed)
    time_s = np.round(np.arange(samples) / rate_hz, 4)
    current_a = np.round(2.1 + 0.03 * random.standard_normal(samples), 4)
    voltage_v = np.round(12.6 + 0.015 * random.standard_normal(samples), 3)
    return Trace(
        time_s, current_a, voltage_v, direction, rig, started, 4.0, {"rig": rig, "note": "æ"}, "a.csv"
    )


def make_assessment(verdict="pass", run_current_a=2.1, direction="lock"):
    """An assessment with something in every part."""
    figures = Figures(run_current_a=Measured(run_current_a, 0.05), travel_time_s=Measured(14.3, 0.01))
    check = Check(
        "run_current_a", figures.run_current_a, 2.88, "max", "A", "80 % of rated (practice)", "pass"
    )
    sign = Sign("binding-spot", "watch", "heavier at one place", 0.4, 0.2, "A", 0.31, 0.02, 4.2)
    cause = Diagnosis("local bind", "possible", ("cold",), "detach and repeat", ("binding-spot",))
    grid = np.linspace(0, 1, 101)
    profile = Profile(grid, 2.0 + grid, np.full(101, 0.01), 0.004)
    return Assessment(
        "a.csv",
        direction,
        True,
        "",
        figures,
        "cut-off",
        (sign,),
        (check,),
        (cause,),
        verdict,
        profile=profile,
    )


@pytest.fixture
def book(tmp_path):
    with open_logbook(tmp_path / "logbook.throwbook") as opened:
        opened.add_rig(RIG, TOML, "M. K.", NOW)
        yield opened


def fill(book, trials=3, kind="seasonal", first_seed=1, now=NOW, samples=300):
    """One sheet with some trials on it."""
    with book.transaction():
        sheet = book.plan_sheet(RIG, kind, {"throws": trials}, "M. K.", now)
        for number in range(trials):
            started = now + timedelta(minutes=number)
            trace = make_trace(first_seed + number, started=started, samples=samples)
            book.add_trial(sheet.id, trace, make_assessment(), "M. K.", now, software_version="0.1.0")
    return sheet
