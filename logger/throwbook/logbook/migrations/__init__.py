"""The steps from an empty file to the newest logbook; a step, once released, is never edited."""

STEPS = (
    "0001_first.sql",
    "0002_calibration_of_a_judgement.sql",
    "0003_fewer_pages_for_a_throw.sql",
    "0004_list_of_entries.sql",
    "0005_photographs.sql",
)
"""Step n takes a file from version n - 1 to version n."""

NEWEST = len(STEPS)
STRUCTURE = "5bc444c27aa897adb920dab56bffd029972f3f878766d7f9be6c1d3c8ea5d628"
"""SHA-256 over the structure that the steps make (``entries.structure_missing``): a test makes it again."""


def statements(version: int) -> list[str]:
    """The SQL statements of the step that leads to ``version``."""
    from importlib.resources import files
    from sqlite3 import complete_statement

    found: list[str] = []
    pending = ""
    for line in files(__package__).joinpath(STEPS[version - 1]).read_text("utf-8").splitlines():
        if not pending and (not line.strip() or line.startswith("--")):
            continue
        pending += line + "\n"
        if complete_statement(pending):
            found.append(pending)
            pending = ""
    return found
