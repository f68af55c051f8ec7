"""How finely the product is cut: its files, its lines, and the names that stand for more than one thing.

    python -m tests.house

prints the counts. ``test_house`` holds those that shall not grow.
"""

import ast
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

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
    return 0


if __name__ == "__main__":
    sys.exit(main())
