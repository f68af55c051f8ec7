"""Costs as people type them: read where there is one way to read them, else kept as typed."""

from decimal import Decimal

import pytest

from throwbook.core.quantities.money import amount_text, cost_sums, money_from


@pytest.mark.parametrize(
    ("text", "amount", "currency"),
    [
        ("30", "30", ""),
        ("45 EUR", "45", "EUR"),
        ("45eur", "45", "EUR"),
        ("€45", "45", "EUR"),
        ("45 €", "45", "EUR"),
        ("$ 45.50", "45.50", "$"),
        ("USD 45.50", "45.50", "USD"),
        ("1.250,00 EUR", "1250.00", "EUR"),
        ("1,250.00 USD", "1250.00", "USD"),
        ("1 250,00 EUR", "1250.00", "EUR"),
        ("1 250 EUR", "1250", "EUR"),
        ("1'250.00 CHF", "1250.00", "CHF"),
        ("1.250.000 EUR", "1250000", "EUR"),
        ("12,5 EUR", "12.5", "EUR"),
        ("0.125 KWD", "0.125", "KWD"),
        ("-12.00 EUR", "-12.00", "EUR"),
    ],
)
def test_what_can_be_read_in_one_way_is_read(text, amount, currency):
    found = money_from(text)
    assert (found.amount, found.currency) == (Decimal(amount), currency)


@pytest.mark.parametrize(
    "text",
    [
        "1.250 EUR",
        "1,250",
        "2 x 15 EUR",
        "30-40 EUR",
        "about 30 EUR",
        "30 min",
        "30 all",
        "30 EUR + VAT",
        "1.25.00 EUR",
        "1,250,00",
        "12.50.30",
        "EUR 30 USD",
        "free",
        "EUR",
        "warranty",
        "1 25 EUR",
    ],
)
def test_what_can_be_read_in_two_ways_or_says_more_is_not(text):
    assert money_from(text) is None


def test_sums_go_by_rig_year_and_currency_and_lose_nothing():
    sums, typed = cost_sums(
        [
            ("b", 2026, "10 EUR"),
            ("a", 2026, "1.000,10 EUR"),
            ("a", 2026, "0,20 EUR"),
            ("a", 2026, "5 USD"),
            ("a", 2025, "30"),
            ("a", 2025, "1.250 EUR"),
            ("a", 2025, ""),
        ]
    )
    assert [(one.rig, one.year, one.currency, str(one.amount), one.entries) for one in sums] == [
        ("a", 2025, "", "30", 1),
        ("a", 2026, "EUR", "1000.30", 2),
        ("a", 2026, "USD", "5", 1),
        ("b", 2026, "EUR", "10", 1),
    ]
    assert typed == [("a", 2025, "1.250 EUR")]


@pytest.mark.parametrize(("amount", "text"), [("30", "30"), ("12.5", "12.50"), ("1000.30", "1000.30")])
def test_an_amount_is_shown_with_two_decimals_or_none(amount, text):
    assert amount_text(Decimal(amount)) == text
