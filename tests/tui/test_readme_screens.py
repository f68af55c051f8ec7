"""The README shows the screens that the walks hold as pictures, and each of them is reviewed."""

import re
from pathlib import Path

from tests.tui.reviewed import FOLDER, PICTURES

TOP = Path(__file__).parents[2]


def test_the_readme_shows_the_reviewed_pictures_and_no_other():
    shown = set(re.findall(r"tests/tui/shown/(\w+)\.svg", (TOP / "README.md").read_text("utf-8")))
    walks = "".join(path.read_text("utf-8") for path in Path(__file__).parent.glob("test_journey_*.py"))
    assert shown == set(re.findall(r'look\("(\w+)"[^)]*picture=True', walks))
    assert shown == {path.stem for path in PICTURES.iterdir()}


def test_no_screen_is_kept_of_a_walk_that_is_gone():
    sources = "".join(path.read_text("utf-8") for path in Path(__file__).parent.glob("test_*.py"))
    gone = [folder.name for folder in FOLDER.iterdir() if f"def test_{folder.name}(" not in sources]
    assert gone == []
