"""A folder with files of somebody else that are called as modules are: ours of earlier, those of our libraries, Python's own."""

from pathlib import Path

OWN = ("logger", "tui", "throwbook_tui", "tests", "conftest")
LIBRARIES = (
    *("numpy", "pandas", "scipy", "serial", "textual", "click", "rich", "pint", "matplotlib", "PIL"),
    *("reportlab", "pypdf", "platformdirs", "tomli_w", "aiohttp", "textual_serve"),
)
PYTHONS = (
    *("pickle", "queue", "secrets", "socket", "sqlite3", "shlex", "statistics", "calendar", "typing"),
    *("json", "csv", "dataclasses", "datetime", "pathlib", "tempfile", "threading", "subprocess"),
)
RAN = "A FILE OF SOMEBODY ELSE RAN"


def fill(folder: Path, without: tuple[str, ...] = ()) -> Path:
    """Each file ends the process that imports it, and says so."""
    folder.mkdir(exist_ok=True)
    for name in {*OWN, *LIBRARIES, *PYTHONS} - set(without):
        (folder / f"{name}.py").write_text(f"raise SystemExit({RAN!r} + ': {name}')\n", "utf-8")
    return folder
