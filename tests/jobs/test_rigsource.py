"""A rig by its file or by its name in the logbook."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from throwbook.errors import InputError
from throwbook.jobs.find import find_rig
from throwbook.logbook import open_logbook

RIG_FILE = Path(__file__).parents[1] / "cli" / "quarry-loader.toml"
NOW = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "rigs.throwbook"
    with open_logbook(path) as opened:
        opened.add_rig("quarry-loader", RIG_FILE.read_text(), "M. K.", NOW)
    return str(path)


def test_a_rig_file_gives_the_rig_and_no_baseline():
    source = find_rig(str(RIG_FILE))
    assert source.rig.name == "quarry-loader"
    assert source.rig.actuator.stroke_m == pytest.approx(0.2)
    assert source.baselines == {}


def test_a_name_is_looked_up_in_the_logbook(book):
    assert find_rig("quarry-loader", book).rig == find_rig(str(RIG_FILE)).rig


def test_an_unknown_name_says_which_rigs_there_are(book):
    with pytest.raises(InputError, match=r"no rig 'yard-loader' in this logbook.*quarry-loader"):
        find_rig("yard-loader", book)


def test_a_rig_file_that_is_not_there_is_told_as_a_file(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        find_rig(str(tmp_path / "none.toml"))


def test_a_rig_whose_values_contradict_each_other_is_refused(tmp_path):
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(RIG_FILE.read_text().replace('"200 mm"', '"100 mm"'))
    with pytest.raises(InputError, match="stroke"):
        find_rig(str(wrong))
