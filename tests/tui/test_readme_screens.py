"""The screens in the README are the reviewed ones. After a change: copy them anew (the table says which)."""

from pathlib import Path

import pytest

TOP = Path(__file__).parent.parent.parent
REVIEWED = Path(__file__).parent / "__snapshots__"
SHOWN = {
    "running": "test_journey_commissioning/*120x40-running].svg",
    "stalled": "test_journey_bad_day/*120x40-stalled].svg",
    "trend": "test_journey_seasons/test_the_history*120x40-trend].svg",
}


@pytest.mark.parametrize("name", SHOWN)
def test_a_screen_in_the_readme_is_the_reviewed_one(name: str):
    (reviewed,) = [path for path in REVIEWED.rglob("*.svg") if _fits(path, SHOWN[name])]
    shown = TOP / "tests" / "tui" / "shown" / f"{name}.svg"
    assert shown.read_text("utf-8") == reviewed.read_text("utf-8"), f"copy {reviewed} to {shown}"
    assert f"tests/tui/shown/{name}.svg" in (TOP / "README.md").read_text("utf-8")


def _fits(path: Path, pattern: str) -> bool:
    folder, _, name = pattern.partition("/")
    start, _, end = name.partition("*")
    return path.parent.name == folder and path.name.startswith(start) and path.name.endswith(end)
