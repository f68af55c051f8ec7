"""Options of the tests."""

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--snapshot-update", action="store_true", help="write the reviewed screens of tests/tui anew"
    )
