"""Names and cells that try to command the terminal, run in a spreadsheet or browser, or leave their folder."""

import csv
import os
import stat
import subprocess
import unicodedata
from pathlib import Path

import pytest

from tests import command
from tests.command import as_file_name
from throwbook.core.quantities.text import file_name
from throwbook.files.journal import Journal

TOP = Path(__file__).parents[2]
SAMPLES = TOP / "sample-runs"
ESCAPES = "\x1b[2J\x1b]0;owned\x07\x9b31m\u202e\u2028\r"
FORMULA = '=HYPERLINK("x","y")'
MARKUP = "<script>alert(1)</script>"


def throwbook(folder: Path, *arguments: object, **more: str) -> subprocess.CompletedProcess[bytes]:
    return command.throwbook_here(folder / "log.throwbook", *arguments, cwd=folder, env=more)


def only_printable(done: subprocess.CompletedProcess[bytes]) -> str:
    """What was said, after asserting that a terminal would only show it."""
    shown = (done.stdout + done.stderr).decode("utf-8")
    odd = {
        f"U+{ord(letter):04X}"
        for letter in shown
        if letter != "\n" and unicodedata.category(letter) in {"Cc", "Cf", "Cs", "Zl", "Zp"}
    }
    assert odd == set(), shown
    assert "Traceback" not in shown
    return shown


@pytest.fixture
def rig_added(tmp_path: Path) -> Path:
    assert throwbook(tmp_path, "rig", "add", SAMPLES / "yard-loader.toml").returncode == 0
    return tmp_path


def hostile_trace(folder: Path, rig: str = "yard-loader") -> Path:
    """A good throw whose file name, head and comments are hostile."""
    lines = (SAMPLES / "healthy" / "lock-mild.csv").read_text("utf-8").split("\n")
    escaped = "".join(f"\\u{ord(letter):04x}" for letter in ESCAPES)
    head = [f'# rig = "{rig}{escaped}"' if line.startswith("# rig") else line for line in lines]
    path = folder / as_file_name(f"throw{ESCAPES.replace(chr(13), '')}{FORMULA}.csv")
    path.write_text("\n".join([head[0], f'# comment = "{escaped}"', *head[1:]]), "utf-8")
    return path


def test_control_letters_in_files_and_options_never_reach_the_terminal(rig_added: Path):
    trace = hostile_trace(rig_added)
    note = f"{ESCAPES}{FORMULA}{MARKUP}".replace("\r", "")
    rig = ("--rig", "yard-loader")
    entry = ("enter", *rig, "--direction", "lock", "--time", "14.3s", "--run", "2.1A", "--note", note)
    runs = [
        throwbook(rig_added, "assess", *rig, trace),
        throwbook(rig_added, "assess", *rig, "--json", trace),
        throwbook(rig_added, "import", *rig, "--kind", "spot", trace),
        throwbook(rig_added, "import", *rig, "--kind", "spot", "--allow", "other-rig", trace),
        throwbook(rig_added, *entry, "--by", note),
        throwbook(rig_added, "sheet", "list", "yard-loader"),
        throwbook(rig_added, "sheet", "show", "yard-loader-1"),
        throwbook(rig_added, "sheet", "show", "yard-loader-2"),
        throwbook(rig_added, "sheet", "show", note),
        throwbook(
            rig_added, "service", "add", "yard-loader", "--action", "greased", "--found", note, "--by", note
        ),
        throwbook(rig_added, "service", "list", "yard-loader"),
        throwbook(rig_added, "service", "list", "yard-loader", "--json"),
        throwbook(rig_added, "status", "yard-loader"),
        throwbook(rig_added, "rig", "show", "yard-loader"),
        throwbook(rig_added, "rig", "show", note),
        throwbook(rig_added, "trend", "yard-loader"),
        throwbook(rig_added, note),
    ]
    said = [only_printable(done) for done in runs]
    assert [done.returncode for done in runs[:2]] == [0, 0]
    assert runs[3].returncode == runs[4].returncode == 0, said[3:5]
    assert "\N{REPLACEMENT CHARACTER}" in said[0]


def test_a_rig_file_with_control_letters_is_refused(tmp_path: Path):
    text = (SAMPLES / "yard-loader.toml").read_text("utf-8")
    (tmp_path / "rig.toml").write_text(
        text.replace('name = "yard-loader"', 'name = "yard\\u001b[2J"'), "utf-8"
    )
    done = throwbook(tmp_path, "rig", "add", "rig.toml")
    assert done.returncode == 2
    only_printable(done)


def test_formulas_are_text_in_exported_tables(rig_added: Path):
    formulas = ("=1+1", "+1", "-1+x", "@SUM(1)", "=cmd|x")
    for begin in formulas:
        done = throwbook(rig_added, "service", "add", "yard-loader", "--action", "greased", "--by", begin)
        assert done.returncode == 0, done.stderr
    assert throwbook(rig_added, "export", "out").returncode == 0
    cells = 0
    for table in (rig_added / "out").glob("*.csv"):
        with table.open(newline="", encoding="utf-8") as file:
            for row in csv.reader(file):
                for cell in row:
                    cells += cell.startswith("'")
                    begins = cell.lstrip(" \u00a0\u200b\ufeff")[:1]
                    assert begins not in {"=", "@", "\t", "\r"}, (table.name, cell)
                    if begins in {"+", "-"}:
                        float(cell)
    assert cells == len(formulas)


@pytest.mark.parametrize(
    "name",
    [
        "../../x",
        "..",
        ".",
        "",
        "/etc/passwd",
        "C:\\x",
        "a/b\\c",
        "nul",
        "COM1.x",
        "con ",
        "x\0y",
        "a:b",
        ".hidden",
        "-",
        "日誌",
    ],
)
def test_a_name_from_a_file_is_one_harmless_part_of_a_path(name: str, tmp_path: Path):
    made = tmp_path / f"{file_name(name)}.csv"
    assert made.parent == tmp_path
    assert made.resolve().parent == tmp_path.resolve()
    made.write_text("x")
    assert not set(made.name) & set('/\\:*?"<>|\0')
    assert made.name.partition(".")[0].upper() not in {"NUL", "CON", "COM1"}
    assert not made.name.startswith(".")


@pytest.mark.long  # a paper whose name is made otherwise than by file_name, which make test holds against such names
def test_a_rig_called_like_a_path_writes_only_into_the_folder_asked_for(tmp_path: Path):
    inner = tmp_path / "a" / "b"
    inner.mkdir(parents=True)
    text = (SAMPLES / "yard-loader.toml").read_text("utf-8")
    (inner / "rig.toml").write_text(text.replace('"yard-loader"', '"../../../evil/x"'), "utf-8")
    before = {path for path in tmp_path.rglob("*") if inner not in path.parents}
    assert throwbook(inner, "rig", "add", "rig.toml").returncode == 0
    trace = next((SAMPLES / "healthy").glob("lock-mild.csv"))
    rig = ("--rig", "../../../evil/x")
    runs = [
        throwbook(inner, "import", *rig, "--kind", "spot", "--allow", "other-rig", trace),
        throwbook(inner, "export", "out", "--traces"),
        throwbook(inner, "report", "../../../evil/x", "--folder", "papers"),
        throwbook(inner, "cab-card", "../../../evil/x", "--folder", "papers"),
    ]
    for done in runs:
        only_printable(done)
    assert {path for path in tmp_path.rglob("*") if inner not in path.parents} == before
    assert len(list((inner / "papers").iterdir())) >= 2, [done.stderr for done in runs]


@pytest.mark.skipif(os.name != "posix", reason="permissions of this kind are POSIX's")
def test_a_new_logbook_and_all_beside_it_is_its_users_alone_and_widened_permissions_stay(rig_added: Path):
    book = rig_added / "log.throwbook"
    assert stat.S_IMODE(book.stat().st_mode) == 0o600
    assert throwbook(rig_added, "backup", "copy").returncode == 0
    assert stat.S_IMODE((rig_added / "copy").stat().st_mode) == 0o600
    Journal(rig_added / "unfinished" / "x.journal", {}, 0.0).close()
    assert stat.S_IMODE((rig_added / "unfinished").stat().st_mode) == 0o700
    assert stat.S_IMODE((rig_added / "unfinished" / "x.journal").stat().st_mode) == 0o600
    book.chmod(0o660)
    assert throwbook(rig_added, "rig", "list").returncode == 0
    done = throwbook(
        rig_added, "enter", "--rig", "yard-loader", "--direction", "lock", "--time", "14.3s", "--run", "2.1A"
    )
    assert done.returncode == 0
    assert stat.S_IMODE(book.stat().st_mode) == 0o660
