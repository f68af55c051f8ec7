"""Name, version and licence of everything that is installed with throwbook.

    python -m tests.licences

Needs the packages installed; read from their own metadata, so it says what they say of themselves.
"""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

TOP = Path(__file__).parents[1]
_NAME = re.compile(r"[A-Za-z0-9._-]+")


def wanted() -> list[str]:
    """Names of the packages that the product itself asks for."""
    project = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["project"]
    return [name_in(line) for line in project["dependencies"]]


def closure(names: list[str]) -> list[str]:
    """Those and all that they ask for in turn, extras left out, by name; what isn't installed here is left out."""
    found: dict[str, str] = {}
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        key = re.sub(r"[-_.]+", "-", name).lower()
        if key in found:
            continue
        try:
            package = distribution(name)
        except PackageNotFoundError:
            continue
        found[key] = package.metadata["Name"]
        waiting += [name_in(line) for line in package.requires or () if "extra ==" not in line]
    return sorted(found.values(), key=str.lower)


def licence(name: str) -> str:
    """What a package says of its licence, in one line."""
    about = distribution(name).metadata
    said = about.get("License-Expression")
    if said:
        return str(said)
    listed = about.get_all("Classifier") or ()
    named = [line.rpartition(" :: ")[2] for line in listed if line.startswith("License ::")]
    first = (about.get("License") or "").strip().splitlines()
    return ", ".join(named) or (first[0][:60] if first else "not stated")


def name_in(line: str) -> str:
    """The package's name in a line that asks for it."""
    match = _NAME.match(line.strip())
    assert match is not None, line
    return match[0]


def main() -> None:
    """Print the table."""
    for name in closure(wanted()):
        print(f"{name:20} {distribution(name).version:12} {licence(name)}")


if __name__ == "__main__":
    main()
