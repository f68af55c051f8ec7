"""Files that appear whole or not at all, whatever lies in the way."""

from pathlib import Path

import pytest

from throwbook.errors import OutsideError
from throwbook.files.tables import whole_file


def test_a_link_of_the_passing_name_is_not_written_through(tmp_path: Path):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_text("kept")
    (tmp_path / "a.csv.part").symlink_to(elsewhere)
    with whole_file(tmp_path / "a.csv") as part:
        part.write_text("new")
    assert elsewhere.read_text() == "kept"
    assert (tmp_path / "a.csv").read_text() == "new"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "elsewhere"]


def half_of_it(path: Path) -> None:
    with whole_file(path) as part:
        part.write_text("half")
        raise OSError(28, "No space left")


def test_what_breaks_off_leaves_the_old_file_and_no_other(tmp_path: Path):
    (tmp_path / "a.csv").write_text("old")
    with pytest.raises(OutsideError) as told:
        half_of_it(tmp_path / "a.csv")
    assert "a.csv" in str(told.value)
    assert "writing failed (No space left)" in str(told.value)
    assert [path.read_text() for path in tmp_path.iterdir()] == ["old"]
