"""The benchmarks' own book-keeping: what is called too slow, and how figures get into the one table."""

import importlib.util
import json
import math

import pytest

from tests.benchmarks.__main__ import BENCHMARKS, MEASURED, as_markdown, put_between_marks
from tests.benchmarks.growth import FLAT, SIZES, SORTING, Growth, cells, powers
from tests.benchmarks.table import COLLECT, Row, all_met, print_table


def grown(may, law):
    return cells(SIZES, Growth("work", may, [1e-5 * law(n) for n in SIZES]))


def test_every_benchmark_that_is_named_exists():
    assert all(importlib.util.find_spec(f"tests.benchmarks.{one.name}") for one in BENCHMARKS)


def test_the_power_is_that_of_the_law_and_sizes_not_tried_are_left_out():
    assert powers(SIZES, [3e-6 * n**1.5 for n in SIZES]) == pytest.approx((1.5, 1.5))
    assert powers(SIZES, [1e-5, 1e-4, 1e-3, math.nan]) == pytest.approx((1.0, 1.0))


@pytest.mark.parametrize("law", [lambda n: 1.0, lambda n: n, lambda n: 1000 + n, lambda n: n * math.log(n)])
def test_work_up_to_n_log_n_grows_as_it_may(law):
    assert grown(SORTING, law)[1]


@pytest.mark.parametrize(("may", "law"), [(SORTING, lambda n: n**1.5), (FLAT, lambda n: n**0.5)])
def test_work_that_grows_faster_is_called_so(may, law):
    texts, right = grown(may, law)
    assert not right
    assert texts[-1] == f"FASTER THAN {may.upper()}"


def test_a_fixed_cost_at_small_sizes_does_not_hide_a_square():
    assert not grown(SORTING, lambda n: 1e6 + n**2)[1]


def test_a_table_reaches_the_one_that_collects_them(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv(COLLECT, str(tmp_path / "tables"))
    rows = [Row("time", "1 s", "2 s", False), Row("size", "", "3 kB", True)]
    print_table("Some work", rows)
    text = as_markdown("some", [json.loads((tmp_path / "tables").read_text())])
    assert "NOT MET" in capsys.readouterr().out
    assert "| time | 1 s | **2 s: not met** |" in text
    assert "| size |  | 3 kB |" in text
    assert all_met(rows) == 1


@pytest.mark.parametrize("name", [one.name for one in BENCHMARKS])
def test_the_figures_of_a_run_replace_those_of_the_one_before_and_nothing_else(name):
    page = MEASURED.read_text(encoding="utf-8")
    written = put_between_marks(page, name, "new\n")
    before, after = written.split(f"<!-- {name} -->\nnew\n<!-- /{name} -->\n")
    assert page.startswith(before)
    assert page.endswith(after)


def test_a_page_without_the_marks_of_a_benchmark_is_left_alone():
    with pytest.raises(SystemExit, match="two marks of some"):
        put_between_marks("<!-- some -->\nold\n", "some", "new\n")
