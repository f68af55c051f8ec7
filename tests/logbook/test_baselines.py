"""A frozen baseline comes back as it was, NaN and all."""

import numpy as np

from tests.logbook.conftest import NOW, RIG, fill, make_assessment
from throwbook.core.analysis.baseline import make_baseline
from throwbook.jobs.find import baseline_for, freeze_baselines
from throwbook.logbook import serialization


def test_a_baseline_goes_through_json_and_back():
    one = make_assessment()
    one.profile.current_a[-5:] = np.nan
    made = make_baseline([one, make_assessment(run_current_a=2.2)], "healthy")
    back = serialization.baseline_from_json(serialization.baseline_to_json(made))
    assert back.figures == made.figures
    assert np.allclose(back.median_a, made.median_a, equal_nan=True)
    assert back.scan_sd_a.keys() == made.scan_sd_a.keys()
    assert (back.reason, back.files, back.n) == (made.reason, made.files, made.n)


def test_before_acceptance_the_baseline_is_provisional_and_afterwards_frozen(book):
    assert baseline_for(book, RIG, "lock") is None
    sheet = fill(book, trials=3, kind="bench")
    held = baseline_for(book, RIG, "lock")
    assert held.record is None
    assert held.baseline.provisional
    freeze_baselines(book, RIG, book.trials(sheet=sheet.id), "M. K.", NOW, "accepted")
    held = baseline_for(book, RIG, "lock")
    assert held.record.reason == "accepted"
    # Nobody wrote how long it had stood, so the first throw may be as found and is left out.
    assert (held.baseline.n, held.baseline.provisional) == (2, False)


def test_a_profile_that_ends_early_comes_back_with_its_end_unknown(book):
    judged = make_assessment()
    judged.profile.current_a[60:] = np.nan
    sheet = fill(book, trials=1)
    [logged] = book.trials(sheet=sheet.id)
    judgement = book.judge(logged.id, judged, "M. K.", NOW, "0.1.0")
    back = book.profile(judgement)
    assert np.allclose(back.current_a, judged.profile.current_a, atol=1e-5, equal_nan=True)
