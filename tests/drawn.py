"""How many a test draws: a part of them in ``make test``, all of them in ``make test-all`` and CI."""

WHOLE = False
"""Whether every test runs (``-m ""``); set by ``conftest.py`` before a test module is read."""


def drawn(whole: int, part: int) -> int:
    """``whole`` where every test runs, else ``part``: what few draws miss by chance, the next run or CI draws."""
    return whole if WHOLE else part
