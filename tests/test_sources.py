"""Every published check runs through what a command reaches, and every check that carries an id is in the table."""

import re

import pytest

from tests.sources import ROOT, TABLE, faults, modules

ID = re.compile(r"test_([a-z]{2,4})_(\d)(?:_(?:and_|to_)(\d))?_")
"""As tests of published values are called: ``test_cu_1_...``, ``test_fus_1_to_4_...``."""


@pytest.mark.long  # a check that proves what no command uses, only in test-all
def test_every_published_check_runs_through_a_function_that_its_command_reaches():
    wrong = {row.test: found for row in TABLE if (found := faults(row))}
    assert wrong == {}
    assert [row.test for row in TABLE if not row.source] == []


def test_every_check_with_an_id_is_in_the_table():
    listed = {row.test for row in TABLE}
    missing = [
        f"{module}:{name}"
        for module, names in modules().items()
        if module.startswith("tests.")
        for name in names.defines
        if ID.match(name) and f"{module.removeprefix('tests.').replace('.', '/')}.py::{name}" not in listed
    ]
    assert missing == []


def test_every_published_table_of_numbers_is_read_by_a_test():
    tests = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "tests").rglob("test_*.py"))
    unread = [path.name for path in (ROOT / "tests" / "check-data").iterdir() if path.name not in tests]
    assert unread == []
