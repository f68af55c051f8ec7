"""On a terminal a doubt is asked about, and which way a movement went; a no stores nothing, a yes goes on."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.command import command
from tests.keyboard import at_a_terminal, plain
from tests.records_of_several import GOOD, SHORT, record, write
from throwbook.jobs.rigs import add_rig
from throwbook.logbook import open_logbook

RIG_FILE = Path(__file__).with_name("quarry-loader.toml")
TOP = Path(__file__).parents[2]
TRACE = TOP / "sample-runs" / "baseline" / "lock-1.csv"


def at_the_question(arguments, answer, asked="[y/N]"):
    """Run a command at a terminal and answer its one question: its exit code and what it showed."""
    code, shown = at_a_terminal(command(None, *arguments), answer, asked)
    return code, plain(shown)


@pytest.mark.parametrize(
    ("answer", "code", "trials"),
    [("y\n", 0, 1), ("\n", 2, 0), pytest.param("n\n", 2, 0, marks=pytest.mark.long)],
)  # no answer is a no
def test_a_file_of_another_rig_is_asked_about(answer, code, trials, tmp_path):
    book = tmp_path / "logbook"
    text = (
        (TOP / "sample-runs" / "yard-loader.toml").read_text("utf-8").replace("yard-loader", "quarry-loader")
    )
    rig = tmp_path / "quarry-loader.toml"
    rig.write_text(text, "utf-8")
    add_rig(book, rig, "M. K.", datetime.now(UTC))
    arguments = ["--logbook", book, "import", "--rig", "quarry-loader", "--kind", "bench", TRACE]
    done, shown = at_the_question(arguments, answer)
    assert "recordedonrig'yard-loader',not'quarry-loader'" in "".join(
        shown.split()
    )  # a console breaks in a word
    assert done == code, shown
    with open_logbook(book, read_only=True) as opened:
        assert len(opened.trials(rig="quarry-loader")) == trials


def test_which_way_a_movement_went_is_asked_where_nothing_tells(tmp_path):
    book = tmp_path / "logbook"
    add_rig(book, RIG_FILE, "M. K.", datetime.now(UTC))
    file = write(tmp_path, "lock-1.csv", record([GOOD, SHORT]))
    arguments = ["--logbook", book, "import", "--rig", "quarry-loader", "--kind", "spot", file]
    done, shown = at_the_question(arguments, "unlock\n", asked="was it lock or unlock?")
    assert done == 1, shown
    assert "2 movements: lock, direction not known" in " ".join(shown.split())
    with open_logbook(book, read_only=True) as opened:
        assert [one.direction for one in opened.trials(rig="quarry-loader")] == ["lock", "unlock"]
