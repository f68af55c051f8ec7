"""Two machines of one name: asked about at a merge, held where an old merge joined them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.command import throwbook_said as throwbook
from throwbook.core.records import RigRevision
from throwbook.jobs.latch import Clearing, clear, status
from throwbook.jobs.logbook_care import take_in
from throwbook.jobs.rig_list import list_rigs
from throwbook.jobs.rigs import add_rig
from throwbook.logbook import open_logbook
from throwbook.logbook.merge import Terms

RIG_FILE = Path(__file__).parents[2] / "sample-runs" / "yard-loader.toml"
RIG = "yard-loader"
NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)
LATER = NOW + timedelta(days=3)
BY = "M. K."


def other_machine(folder):
    """The same name on a rig file with other measures."""
    file = folder / "other.toml"
    text = RIG_FILE.read_text("utf-8")
    line = next(one for one in text.splitlines() if one.strip().startswith("no_load_current"))
    file.write_text(text.replace(line, 'no_load_current = "0.95 A"'), "utf-8")
    assert file.read_text("utf-8") != text
    return file


@pytest.fixture
def yards(tmp_path):
    """Our logbook and that of another yard, each with a machine of one name."""
    paths = tmp_path / "ours", tmp_path / "north"
    add_rig(paths[0], RIG_FILE, BY, NOW)
    add_rig(paths[1], other_machine(tmp_path), "N. N.", LATER)
    return paths


def level(path, rig=RIG):
    with open_logbook(path, read_only=True) as book:
        return status(book, rig).level


def test_in_a_pipe_it_is_refused_with_the_options_that_answer_it(yards):
    ours, north = yards
    done = throwbook(ours, "merge", north)
    assert done.returncode == 2
    assert f"--rename {RIG}=NEW-NAME" in done.stderr
    assert f"--same {RIG}" in done.stderr
    shown = throwbook(ours, "merge", north, "--dry-run")
    assert (shown.returncode, "Would come in" in shown.stdout) == (0, True)
    assert f"{RIG} was added to each logbook separately" in shown.stdout
    assert throwbook(ours, "merge", north, "--rename", f"{RIG}=north-loader").returncode == 0
    assert [one.name for one in list_rigs(ours, LATER.date())] == ["north-loader", RIG]
    assert "No change or loss was found" in throwbook(ours, "check").stdout
    wrong = throwbook(ours, "merge", north, "--rename", f"{RIG}=Yard Loader")
    assert (wrong.returncode, "too like" in wrong.stderr) == (2, True)


def test_one_machine_by_a_persons_word_is_held_where_the_rig_files_differ(yards):
    ours, north = yards
    take_in(str(ours), north, now=LATER, terms=Terms(same=(RIG,), by=BY, now=LATER))
    assert level(ours) == "restricted"
    with open_logbook(ours) as book:
        [held] = status(book, RIG).open
    assert "no-load current" in held.sentence


def test_what_an_old_merge_joined_is_held_until_somebody_signs_or_joins_it(yards, tmp_path):
    """Until version 3 a merge took both in under one name."""
    ours, north = yards
    with open_logbook(north) as book:
        theirs = book.rig(RIG)
    with open_logbook(ours) as book:
        assert status(book, RIG).level == "in service"
        book.add(RigRevision(RIG, theirs.toml, theirs.at, theirs.by))
        [held] = status(book, RIG).open
        assert (status(book, RIG).level, "no-load current" in held.sentence) == ("restricted", True)
    kept = tmp_path / "kept"
    with open_logbook(ours) as book:
        book.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    kept.write_bytes(ours.read_bytes())
    clear(
        ours, RIG, Clearing((held.ids[0][:8],), BY, "one machine; its data sheet was copied wrong"), BY, LATER
    )
    assert level(ours) == "in service"
    add_rig(ours, RIG_FILE, BY, LATER, "the right one")
    assert level(ours) == "in service"
    add_rig(kept, RIG_FILE, BY, LATER, "the right one")
    assert level(kept) == "in service"


def test_two_beginnings_that_describe_the_same_machine_hold_nothing(yards):
    with open_logbook(yards[0]) as book:
        book.add(replace(book.rig(RIG), id="", at=LATER, by="N. N.", replaces=()))
        assert len(book.rig_revisions(RIG)) == 2
        assert status(book, RIG).level == "in service"
