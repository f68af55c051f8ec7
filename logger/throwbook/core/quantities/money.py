"""A cost as people type it: an amount and a currency where that is unambiguous, and sums that never mix currencies."""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

# ISO 4217, from memory
_CODES = frozenset(
    [
        "AED",
        "AUD",
        "BGN",
        "BRL",
        "CAD",
        "CHF",
        "CLP",
        "CNY",
        "COP",
        "CZK",
        "DKK",
        "EGP",
        "EUR",
        "GBP",
        "HKD",
        "HUF",
        "IDR",
        "ILS",
        "INR",
        "ISK",
        "JPY",
        "KES",
        "KRW",
        "KWD",
        "MAD",
        "MXN",
        "MYR",
        "NGN",
        "NOK",
        "NZD",
        "PEN",
        "PHP",
        "PKR",
        "PLN",
        "QAR",
        "RON",
        "RSD",
        "RUB",
        "SAR",
        "SEK",
        "SGD",
        "THB",
        "TND",
        "TRY",
        "TWD",
        "UAH",
        "USD",
        "UYU",
        "VND",
        "ZAR",
    ]
)
_ALSO = {"€": "EUR", "EURO": "EUR", "EUROS": "EUR"}
_SMALL = ("EUR", "USD", "GBP", "CHF", "EURO", "EUROS")
"""Understood in small letters too; others may be words."""
_NUMBER = r"[+-]?\d(?:[\d.,'\u2019\s]*\d)?"
_TYPED = re.compile(rf"(?P<before>[^\d\s+-]*)\s*(?P<number>{_NUMBER})\s*(?P<after>[^\d\s+-]*)")
_GROUPED = re.compile(r"[1-9]\d{0,2}(?:(?P<mark>[.,' ])\d{3})(?:(?P=mark)\d{3})*")


@dataclass(frozen=True)
class Money:
    """An amount in one currency."""

    amount: Decimal
    currency: str
    """Code of ISO 4217, or the sign as typed where several countries have it; empty: none was given."""


def money_from(text: str) -> Money | None:
    """What a typed cost says; None where it can be read in two ways, or says more than an amount and a currency.

    >>> money_from("1.250,00 EUR")
    Money(amount=Decimal('1250.00'), currency='EUR')
    >>> money_from("$ 45.50")
    Money(amount=Decimal('45.50'), currency='$')
    >>> money_from("1.250 EUR")  # one and a quarter, or a thousand and more
    >>> money_from("2 x 15 EUR")
    """
    match = _TYPED.fullmatch(" ".join(text.split()))
    if match is None or (match["before"] and match["after"]):
        return None
    currency = _currency(match["before"] or match["after"])
    amount = _amount(match["number"].replace("\u2019", "'"))
    return None if currency is None or amount is None else Money(amount, currency)


def _currency(text: str) -> str | None:
    """Empty where none was given; None for a word that is no currency."""
    word = text.rstrip(".")
    if word.upper() in _SMALL:
        word = word.upper()
    if not word or word in _CODES:
        return word
    if word in _ALSO:
        return _ALSO[word]
    return word if len(word) == 1 and unicodedata.category(word) == "Sc" else None


def _amount(text: str) -> Decimal | None:
    sign = text[0] if text[0] in "+-" else ""
    digits = text.removeprefix(sign)
    whole, mark, part = digits, "", ""
    last = max(digits.rfind("."), digits.rfind(","))
    if last >= 0 and (len(digits) - last - 1 != 3 or digits.startswith("0")):
        whole, mark, part = digits[:last], digits[last], digits[last + 1 :]
    if not whole.isdigit():
        grouped = _GROUPED.fullmatch(whole)
        if grouped is None or grouped["mark"] == mark:
            return None
        if not mark and grouped["mark"] in ".," and whole.count(grouped["mark"]) == 1:
            return None
    if not part.isdigit() and mark:
        return None
    number = re.sub(r"[.,' ]", "", whole)
    return Decimal(f"{sign}{number}.{part}" if part else f"{sign}{number}")


@dataclass(frozen=True)
class CostSum:
    """What a rig cost in a year, in one currency."""

    rig: str
    year: int
    currency: str
    amount: Decimal
    entries: int


def cost_sums(costs: Iterable[tuple[str, int, str]]) -> tuple[list[CostSum], list[tuple[str, int, str]]]:
    """Sums of rig, year and typed cost, by rig, year and currency; and those that aren't in a sum, as typed.

    An empty cost is none.
    """
    sums: dict[tuple[str, int, str], CostSum] = {}
    typed = []
    for rig, year, text in costs:
        if not text.strip():
            continue
        money = money_from(text)
        if money is None:
            typed.append((rig, year, text))
            continue
        key = (rig, year, money.currency)
        so_far = sums.get(key, CostSum(*key, Decimal(0), 0))
        sums[key] = CostSum(*key, so_far.amount + money.amount, so_far.entries + 1)
    return [sums[key] for key in sorted(sums)], typed


def amount_text(amount: Decimal) -> str:
    """With the decimals it has, but two where it has any.

    >>> amount_text(Decimal("1250")), amount_text(Decimal("45.5"))
    ('1250', '45.50')
    """
    return str(amount) if amount == amount.to_integral() and "." not in str(amount) else f"{amount:.2f}"
