"""How finely the product is cut: files, lines, names that stand for more than one thing, ways, files to open for a change.

    python -m tests.house

prints the counts, and the ways of a sample and of a sighting as ``tests.ways`` sees them. ``test_house`` holds those that
shall not grow.
"""

import ast
import os
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.ways import WAYS, Function

TOP = Path(__file__).parents[1]
PARTS = ("logger", "tui")
LONG_LINES = 450


@cache
def product_sources() -> dict[Path, str]:
    """Text of every Python file of the product that has content, by its path below the top folder."""
    paths = (path for part in PARTS for path in sorted((TOP / part).rglob("*.py")))
    texts = {path.relative_to(TOP): path.read_text("utf-8") for path in paths}
    return {path: text for path, text in texts.items() if text.strip()}


def lines(text: str) -> int:
    return len(text.splitlines())


def module_name(path: Path) -> str:
    """``throwbook.core.rig`` of ``logger/throwbook/core/rig.py``; a package is called as its folder."""
    parts = path.with_suffix("").parts[1:]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def names_imported(source: str) -> Iterator[str]:
    """Every module that ``source`` imports, with what might be a module of a package: ``a.b`` and ``a.b.c``."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{each.name}" for each in node.names)


def importers(sources: dict[Path, str]) -> dict[str, set[str]]:
    """Module: the modules that import it. Imports by a name in a table are not seen."""
    found: dict[str, set[str]] = {module_name(path): set() for path in sources}
    for path, source in sources.items():
        for name in set(names_imported(source)) & found.keys():
            found[name].add(module_name(path))
    return found


def file_names(sources: dict[Path, str]) -> dict[str, list[str]]:
    """File name: where it occurs, if more than once; a package's own file isn't counted."""
    places: dict[str, list[str]] = {}
    for path in sources:
        if path.name != "__init__.py":
            places.setdefault(path.name, []).append(path.parent.as_posix())
    return {name: where for name, where in sorted(places.items()) if len(where) > 1}


def class_names(sources: dict[Path, str]) -> dict[str, list[str]]:
    """Name of a class that stands by itself: the files that define it, if more than once."""
    places: dict[str, list[str]] = {}
    for path, source in sources.items():
        for node in ast.parse(source).body:
            if isinstance(node, ast.ClassDef):
                places.setdefault(node.name, []).append(path.as_posix())
    return {name: where for name, where in sorted(places.items()) if len(where) > 1}


CORE, REPORT, LOGBOOK = ("logger/throwbook/" + room for room in ("core/", "report/", "logbook/"))
A_COLUMN = {
    LOGBOOK + "migrations/0001_first.sql": "retained_power_off TEXT NOT NULL",
    LOGBOOK + "migrations/__init__.py": "0001_first.sql",
    LOGBOOK + "schema.py": '"retained_power_off": TEXT',
    CORE + "records.py": "retained_power_off: str",
    CORE + "export_schema.py": '_of("sighting", "retained_power_off")',
    "logger/throwbook/cli/sign_off.py": 'given["retained_power_off"]',
    CORE + "wording.py": '"retained_power_off": Name(',
}
"""A column of the logbook, by one that a sighting has: what stands where, with its name and the command that asks for it.

A screen that asks for it too comes on top.
"""
A_SECTION = {
    REPORT + "sections.py": "def revisions(",
    REPORT + "report.py": "revisions(material)",
}
"""A section of a report, by the one of corrections."""


def files_for_a_sign(sources: dict[Path, str]) -> list[str]:
    """Every file that names one sign, and so each that a new one must be written into; made pages apart."""
    return [path.as_posix() for path, source in sources.items() if re.search("binding[-_]spot", source)]


def files_for_a_word(sources: dict[Path, str]) -> list[str]:
    """Every file in which the name of one figure stands by itself; where it stands in a sentence isn't counted."""
    return [
        path.as_posix()
        for path, source in sources.items()
        if re.search("running current", source, re.IGNORECASE)
        and any(
            isinstance(node, ast.Constant) and str(node.value).strip().lower() == "running current"
            for node in ast.walk(ast.parse(source))
        )
    ]


def files_to_open(sources: dict[Path, str]) -> dict[str, list[str]]:
    """For each kind of change the files of the product that must be opened. Raises LookupError for a place that isn't so."""
    for places in (A_COLUMN, A_SECTION):
        for path, text in places.items():
            if text not in (TOP / path).read_text("utf-8"):
                raise LookupError(f"{path} doesn't hold {text!r} any more")
    return {
        "a sign": files_for_a_sign(sources),
        "a column": list(A_COLUMN),
        "a word": files_for_a_word(sources),
        "a section of a report": list(A_SECTION),
    }


def follow_all() -> dict[str, list[Function]]:
    """The ways of a sample and of a sighting, each followed through a logbook of its own."""
    ways = {}
    for name, follow in WAYS.items():
        with TemporaryDirectory() as folder:
            ways[name] = follow(Path(folder))
    return ways


def main() -> int:
    """Print the counts."""
    sources = product_sources()
    total = sum(map(lines, sources.values()))
    imported = importers(sources)
    print(f"{len(sources)} product files with content, {total} lines")
    print(f"{len(sources) / total * 1000:.1f} files per 1,000 lines")
    over = {path: lines(text) for path, text in sources.items() if lines(text) > LONG_LINES}
    print(f"{len(over)} files over {LONG_LINES} lines")
    for path, count in sorted(over.items(), key=lambda row: -row[1]):
        print(f"    {count:>5}  {path.as_posix()}")
    single = {name: by for name, by in imported.items() if len(by) == 1}
    print(f"{len(single)} files with one importer")
    for name, (by,) in sorted(single.items()):
        print(f"    {name}  <-  {by}")
    for what, places in (("file", file_names(sources)), ("class", class_names(sources))):
        print(f"{len(places)} {what} names that occur more than once")
        for name, where in places.items():
            print(f"    {name}: {', '.join(where)}")
    for what, where in files_to_open(sources).items():
        print(f"{len(where)} files to open for {what}")
        for path in where:
            print(f"    {path}")
    for what, way in follow_all().items():
        print(f"{len(set(way))} functions in {len({file for file, _ in way})} files on the way of {what}")
        for file, function in way:
            print(f"    {file}  {function}")
    return 0


if __name__ == "__main__":
    try:
        code = main()
        sys.stdout.flush()
    except BrokenPipeError:  # who reads it, `head` for one, has seen enough
        code = 0
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(code)
