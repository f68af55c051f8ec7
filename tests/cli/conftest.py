"""The command on a logbook of its own."""

import io
import shutil
import sys
from datetime import UTC, datetime

import pytest

from tests.cli.sheet_steps import (
    RIG,
    RIG_FILE,
)
from throwbook.cli import diagnostics
from throwbook.cli.main import throwbook
from throwbook.logbook import open_logbook


@pytest.fixture(scope="session")
def begun(tmp_path_factory):
    """A logbook with one rig; starting one takes longer than most commands."""
    path = tmp_path_factory.mktemp("begun") / "book"
    with open_logbook(path) as book:
        book.add_rig(RIG, RIG_FILE.read_text("utf-8"), "M. K.", datetime(2026, 3, 1, tzinfo=UTC))
    return path


@pytest.fixture
def run(begun, tmp_path, monkeypatch, capsys):
    """The command on a logbook of its own: exit code, stdout, stderr."""
    path = shutil.copy(begun, tmp_path / "Fellside Yard é.throwbook")

    def command(*words: str, stdin: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.StringIO(stdin))
        code = diagnostics.run(throwbook, ["--logbook", str(path), *words])
        told = capsys.readouterr()
        return code, told.out, told.err

    command.path = path
    return command


@pytest.fixture
def in_empty_folder(tmp_path, monkeypatch, capsys):
    """Run a command in an empty folder with its own logbook; gives exit code, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("THROWBOOK_LOGBOOK", str(tmp_path / "book.throwbook"))
    monkeypatch.setenv("THROWBOOK_BY", "M. K.")

    def run(*args: object) -> tuple[int, str, str]:
        code = diagnostics.run(throwbook, [str(arg) for arg in args])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run
