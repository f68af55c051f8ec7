"""What is packed and what it says of itself; ``python -m tests.install`` builds and installs for real."""

import fnmatch
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests.licences import closure, licence, name_in, wanted
from throwbook import __version__
from throwbook.cli.main import LIBRARIES, OPTIONAL

TOP = Path(__file__).parents[1]
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))
EXTRAS = PROJECT["project"]["optional-dependencies"]


def throwbook(*arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    code = "import sys; sys.argv[0] = 'throwbook'; from throwbook.cli.main import main; main()"
    line = [sys.executable, "-c", code, *arguments]
    env = os.environ | more
    return subprocess.run(
        line, cwd=TOP, env=env, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False
    )


def test_every_file_of_the_packages_is_packed():
    data = PROJECT["tool"]["setuptools"]["package-data"]
    patterns = {f"{package.replace('.', '/')}/{one}" for package, listed in data.items() for one in listed}
    tops = (TOP / "logger", TOP / "tui")
    files = [path.relative_to(top) for top in tops for path in top.rglob("*") if path.is_file()]
    others = [path.as_posix() for path in files if path.suffix not in {".py", ".pyc"}]
    assert [name for name in others if not any(fnmatch.fnmatch(name, pattern) for pattern in patterns)] == []


def test_every_folder_with_code_is_a_package():
    folders = {path.parent for package in ("logger", "tui") for path in (TOP / package).rglob("*.py")}
    assert [str(folder) for folder in folders if not (folder / "__init__.py").exists()] == []


def test_the_version_comes_first_and_then_the_environment():
    said = throwbook("--version").stdout.splitlines()
    assert said[0] == f"throwbook {__version__}" == f"throwbook {PROJECT['project']['version']}"
    assert "Python" in said[1]
    assert "SQLite" in said[2]


def test_the_environment_names_every_library_we_ask_for():
    assert sorted(LIBRARIES) == sorted(wanted())
    assert set(OPTIONAL) <= {
        name_in(line) for extra in ("bench", "parquet", "fleet") for line in EXTRAS[extra]
    }


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("throwbook re", "plain,record"),
        ("throwbook sheet ac", "plain,accept"),
        ("throwbook assess --bas", "plain,--baseline"),
    ],
)
def test_the_shell_completes_commands_and_options(words: str, expected: str):
    count = str(len(words.split()) - 1)
    done = throwbook(_THROWBOOK_COMPLETE="bash_complete", COMP_WORDS=words, COMP_CWORD=count)
    assert expected in done.stdout


def test_the_manual_page_names_every_command_and_is_sound():
    page = throwbook("man").stdout
    assert page.startswith(".TH THROWBOOK 1")
    for command in ("throwbook sheet accept", "throwbook record", "throwbook trend"):
        assert f'.SS "{command} ' in page.replace("\\-", "-")
    if shutil.which("groff") is None:
        pytest.skip("groff isn't here to check the page")
    line = ["groff", "-man", "-Tutf8", "-ww", "-z", "-K", "utf-8"]
    checked = subprocess.run(line, input=page, capture_output=True, text=True, check=False)
    assert (checked.returncode, checked.stderr) == (0, "")


def test_every_library_states_its_licence():
    listed = closure(wanted())
    assert len(listed) >= len(wanted())
    assert [name for name in listed if licence(name) == "not stated"] == []


def for_this_system(line: str) -> bool:
    marker = Requirement(line).marker
    return marker is None or marker.evaluate()


@pytest.mark.skipif(
    sys.platform == "win32",
    reason="the automatic checks run on Linux: what Windows needs besides isn't pinned",
)
def test_ci_has_a_pinned_version_of_every_library_and_of_what_they_need():
    def plain(name: str) -> str:
        return name.lower().replace("_", "-")

    lines = (TOP / ".ci/constraints.txt").read_text("utf-8").splitlines()
    lines_asked = [*PROJECT["project"]["dependencies"], *EXTRAS["dev"]]
    asked = [name_in(line) for line in lines_asked if for_this_system(line)]
    needed = {plain(name) for name in [*asked, *closure(asked)]}
    assert needed - {plain(name_in(line)) for line in lines} == set(), "make pins"
