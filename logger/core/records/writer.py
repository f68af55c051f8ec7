"""Who wrote a row: a person who gave a name, or only the account of the computer. An account is no person."""

from collections.abc import Iterable

from logger.core.quantities.plain import written

ACCOUNT = "account "


def account_name(user: str) -> str:
    """What stands for the writer where nobody gave a name."""
    return f"{ACCOUNT}{user}" if user else ""


def person(by: str) -> str:
    """The person behind a writer's name; empty where it is only an account.

    >>> person("M. K."), person("account fitter")
    ('M. K.', '')
    """
    name = written(by)
    return "" if name.startswith(ACCOUNT) else name


def people(names: Iterable[str]) -> tuple[str, ...]:
    """The persons among them, each once."""
    return tuple(sorted({person(one) for one in names} - {""}))
