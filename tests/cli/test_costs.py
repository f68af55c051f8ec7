"""Services of all rigs, and what they cost: added up by rig, year and currency, nothing lost."""

import json

import pytest

from tests.cli.sheet_steps import RIG, RIG_FILE
from throwbook.logbook import open_logbook


@pytest.fixture
def yard(run):
    """Two rigs with services of two years."""
    with open_logbook(run.path) as book:
        rows = book.rig(RIG)
        book.add_rig("hill-loader", RIG_FILE.read_text("utf-8").replace(RIG, "hill-loader"), "M. K.", rows.at)
    for rig, on, cost in (
        (RIG, "2025-03-01", "1.250,00 EUR"),
        (RIG, "2025-09-01", "49.50 EUR"),
        (RIG, "2026-02-01", "$ 45.50"),
        ("hill-loader", "2025-05-01", "30"),
        ("hill-loader", "2025-06-01", "1.250 EUR"),
        ("hill-loader", "2025-07-01", ""),
    ):
        code, _, err = run("service", "add", rig, "--action", "greased", "--on", on, "--cost", cost)
        assert (code, err) == (0, "")
    return run


def test_without_a_rig_all_services_are_listed_by_their_days(yard):
    code, out, _ = yard("service", "list")
    assert code == 0
    rows = [line.split() for line in out.split("\n\n")[0].splitlines()]
    assert rows[0][:3] == ["id", "date", "rig"]
    assert [(row[1], row[2]) for row in rows[1:]] == [
        ("2025-03-01", RIG),
        ("2025-05-01", "hill-loader"),
        ("2025-06-01", "hill-loader"),
        ("2025-07-01", "hill-loader"),
        ("2025-09-01", RIG),
        ("2026-02-01", RIG),
    ]
    assert "not added up: hill-loader, 2025: '1.250 EUR'" in out


def test_costs_are_added_up_by_rig_year_and_currency(yard):
    code, out, _ = yard("service", "list", "--costs", "--json")
    assert code == 0
    assert [json.loads(line) for line in out.splitlines()] == [
        {"rig": "hill-loader", "year": 2025, "currency": None, "cost": 30.0, "services": 1},
        {"rig": RIG, "year": 2025, "currency": "EUR", "cost": 1299.5, "services": 2},
        {"rig": RIG, "year": 2026, "currency": "$", "cost": 45.5, "services": 1},
        {"rig": "hill-loader", "year": 2025, "as_typed": "1.250 EUR"},
    ]
    _, out, _ = yard("service", "list", "--costs", "--year", "2026", RIG)
    assert [line.split() for line in out.splitlines()] == [
        ["rig", "year", "cost", "currency", "services"],
        [RIG, "2026", "45.50", "$", "1"],
    ]


def test_an_entry_keeps_its_cost_as_typed_beside_what_was_read(yard):
    _, out, _ = yard("service", "list", "--json")
    costs = [
        (one["cost"], one["cost_amount"], one["cost_currency"]) for one in map(json.loads, out.splitlines())
    ]
    assert costs[0] == ("1.250,00 EUR", 1250.0, "EUR")
    assert costs[1] == ("30", 30.0, None)
    assert costs[2] == ("1.250 EUR", None, None)
    assert costs[3] == (None, None, None)


def test_a_cost_that_no_sum_can_take_is_kept_and_said(run):
    code, out, _ = run("service", "add", RIG, "--action", "greased", "--cost", "two crates")
    assert code == 0
    assert "The cost is kept as typed: 'two crates'." in out
    _, out, _ = run("service", "add", RIG, "--action", "greased", "--cost", "30")
    assert "kept as typed" not in out
    assert "under 'not given'" in out
    _, sums, _ = run("service", "list", "--costs")
    assert sums.splitlines()[1].split()[2:] == ["30", "not", "given", "1"]
    _, out, _ = run("service", "add", RIG, "--action", "greased", "--cost", "45 EUR")
    assert "kept as typed" not in out
    assert "not given" not in out
