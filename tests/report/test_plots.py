"""Drawings: the same bytes each time, nothing lost in thinning, no stranger's text that breaks them."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from tests.made_strokes import RIG, stroke
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.errors import InputError, OutsideError
from throwbook.report.charts import thinned, trial_pages

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def subject():
    baseline = make_baseline([assess_trace(stroke(seed), RIG) for seed in range(5)])
    trace = stroke(20, bump_a=0.7)
    return trace, assess_trace(trace, RIG, baseline), RIG, baseline


def drawn(path, *subjects):
    with trial_pages(path, len(subjects)) as add:
        for each in subjects:
            add(*each)
    return path.read_bytes()


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_two_drawings_of_the_same_throw_are_the_same_bytes(tmp_path, subject, ending):
    assert drawn(tmp_path / f"one.{ending}", subject) == drawn(tmp_path / f"two.{ending}", subject)
    assert not list(tmp_path.glob("*.part"))


def test_a_pdf_takes_a_page_for_each_throw(tmp_path, subject):
    assert drawn(tmp_path / "all.pdf", subject, subject).count(b"/Type /Page ") == 2


def test_a_pdf_holds_its_font_and_vectors_not_a_picture(tmp_path, subject):
    content = drawn(tmp_path / "one.pdf", subject)
    assert b"DejaVuSans" in content
    assert b"/Subtype /Image" not in content


def test_a_drawing_says_what_it_shows_in_words_and_units(tmp_path, subject):
    import matplotlib.figure

    from throwbook.report import chart_style
    from throwbook.report.charts import Subject, draw_trial

    with chart_style.drawing():
        figure = draw_trial(Subject(*subject))
    assert isinstance(figure, matplotlib.figure.Figure)
    current, voltage, profile = figure.axes
    assert (current.get_xlabel(), current.get_ylabel()) == ("time [s]", "current [A]")
    assert (voltage.get_xlabel(), voltage.get_ylabel()) == ("time [s]", "voltage [V]")
    assert profile.get_xlabel() == "travel from its own start [% of the stroke]"
    assert "verdict: watch" in figure.get_suptitle()
    assert "binding spot at 55 % of stroke" in figure.get_suptitle()
    words = [text.get_text() for text in current.texts]
    assert {"start", "inrush over", "end (by itself)", "running, max 2.88 A"} <= set(words)
    assert "baseline, lowest to highest of 5" in [
        text.get_text() for text in profile.get_legend().get_texts()
    ]


def test_a_record_without_voltage_profile_or_run_is_drawn_all_the_same(tmp_path):
    from throwbook.core.trace import Trace

    flat = Trace(np.arange(100) / 50, np.zeros(100), None, "lock")
    assert drawn(tmp_path / "flat.png", (flat, assess_trace(flat, RIG), RIG, None)).startswith(b"\x89PNG")


def test_odd_names_are_drawn_as_they_are(tmp_path, subject):
    trace, assessment, rig, baseline = subject
    odd = replace(assessment, file="price $5 and $6_\\frac \x1b[2J 文.csv")
    assert drawn(tmp_path / "odd.svg", (trace, odd, rig, baseline))


def test_another_ending_is_refused(tmp_path, subject):
    with pytest.raises(InputError, match=r"End the name in \.png, \.svg or \.pdf"):
        drawn(tmp_path / "plot.jpg", subject)


def test_several_throws_in_a_png_are_refused_before_any_is_drawn(tmp_path, subject):
    with pytest.raises(InputError, match=r"holds one drawing, not 2"):
        drawn(tmp_path / "plot.png", subject, subject)


def test_a_folder_that_is_not_there_is_told_in_one_line(tmp_path, subject):
    with pytest.raises(OutsideError, match="writing failed"):
        drawn(tmp_path / "none" / "plot.png", subject)


def test_thinning_a_long_record_keeps_its_highest_and_lowest():
    time_s = np.arange(1_000_000) / 10_000
    current_a = np.zeros_like(time_s)
    current_a[123_456], current_a[654_321] = 9.0, -2.0
    thin_s, thin_a = thinned(time_s, current_a)
    assert len(thin_s) == len(thin_a) <= 6002
    assert thin_a.max() == 9.0
    assert thin_a.min() == -2.0
    assert abs(thin_s[thin_a.argmax()] - 12.3456) < 0.05


def test_a_gap_in_the_rows_is_a_gap_in_the_line():
    time_s = np.array([0.0, 0.1, 0.2, 2.0, 2.1, 2.2])
    thin_s, thin_a = thinned(time_s, np.ones(6))
    assert np.isnan(thin_a[3])
    assert len(thin_s) == 7


def test_drawing_leaves_pyplot_alone(tmp_path):
    program = """
import sys
import numpy as np
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.report.charts import trial_pages
from tests.made_strokes import RIG, stroke
trace = stroke()
with trial_pages(sys.argv[1], 1) as add:
    add(trace, assess_trace(trace, RIG), RIG, None)
assert "matplotlib.pyplot" not in sys.modules
"""
    subprocess.run([sys.executable, "-c", program, tmp_path / "one.svg"], check=True)
