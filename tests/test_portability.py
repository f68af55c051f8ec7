"""Other systems, as far as they can be tried here: code pages, line ends, names of ports and files, text files."""

import ast
import subprocess
import sys
from pathlib import Path, PureWindowsPath

import pytest

from tests import command
from tests.drawn import drawn
from tests.faults.good_input import NOW
from tests.house import product_sources
from throwbook.core.quantities.text import file_name
from throwbook.core.sheets.hand_readings import parse_lines
from throwbook.errors import OutsideError
from throwbook.files.trace_file import read_trace
from throwbook.jobs.rigs import add_rig
from throwbook.ports.serial_port import Port

TOP = Path(__file__).parents[1]
SAMPLES = TOP / "sample-runs"
RIG = SAMPLES / "yard-loader.toml"
CODE_PAGES = ("ascii", "cp1252", "cp932")


def throwbook(
    folder: Path, *arguments: object, typed: bytes = b"", **more: str
) -> subprocess.CompletedProcess[bytes]:
    env = {"PYTHONUTF8": "0"} | more
    return command.throwbook(folder / "log.throwbook", *arguments, text=False, input=typed, env=env)


# A letter that a page lacks fails in ASCII first, which lacks them all.
@pytest.mark.parametrize(
    "page", ["ascii", *(pytest.param(page, marks=pytest.mark.long) for page in CODE_PAGES[1:])]
)
def test_a_console_of_any_code_page_shows_what_it_can(page: str, tmp_path: Path):
    folder = tmp_path / "Füße 日誌"
    folder.mkdir()
    enter = ("enter", "--rig", "yard-loader", "--paste", "--seen-how", "torch")
    walk = (
        (("assess", "--rig", RIG, SAMPLES / "signs" / "binding-spot-lock.csv"), b""),
        (enter, b"lock 14.3s 2.1A 2.9A 12.4V both seen # greased\r\nunlock 13,9 s; run 1.8 A\r\n"),
        (("rig", "show", "none – of ours"), b""),
        (("sheet", "show", "yard-loader-1"), b""),
        (("man",), b""),
    )
    add_rig(folder / "log.throwbook", RIG, "M. K.", NOW)
    for arguments, typed in walk[: drawn(len(walk), 3)]:
        done = throwbook(folder, *arguments, typed=typed, PYTHONIOENCODING=page)
        said = done.stdout + done.stderr
        assert b"Traceback" not in said, said.decode(page)
        assert done.returncode in (0, 1, 2), said.decode(page, "replace")
        done.stdout.decode(page)  # whatever is written, a console of this code page can read


def test_text_that_is_no_utf_8_is_refused_in_one_line(tmp_path: Path):
    assert throwbook(tmp_path, "rig", "add", RIG).returncode == 0
    sheet = tmp_path / "sheet.txt"
    sheet.write_bytes("lock 14.3s 2.1A # gefettet, Bolzen schwergängig".encode("cp1252"))
    done = throwbook(tmp_path, "enter", "--rig", "yard-loader", "--file", sheet)
    assert (done.returncode, done.stderr.count(b"\n")) == (2, 1)
    assert b"UTF-8" in done.stderr


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_line_ends_of_any_system_give_the_same(end: str, tmp_path: Path):
    source = SAMPLES / "healthy" / "lock-mild.csv"
    trace = tmp_path / "trace.csv"
    trace.write_text(source.read_text("utf-8"), "utf-8", newline=end)
    assert (read_trace(trace).current_a == read_trace(source).current_a).all()
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG.read_text("utf-8"), "utf-8", newline=end)
    first = add_rig(tmp_path / "log", RIG, "M. K.", NOW)
    again = add_rig(tmp_path / "log", rig, "M. K.", NOW)
    assert (first.new, again.new) == (True, False)
    assert len(parse_lines(f"lock 14.3s 2.1A{end}unlock 13.9s 1.8A{end}")) == 2


@pytest.mark.parametrize("name", ["COM3", "\\\\.\\COM12", "/dev/cu.usbmodem1101", "/dev/ttyNOSUCH"])
def test_a_port_of_another_system_is_told_to_be_missing(name: str):
    with pytest.raises(OutsideError) as caught:
        Port(name, 115_200)
    assert caught.value.do or caught.value.remedy


@pytest.mark.parametrize("name", ["a:b", "a\\b", "nul", "lpt1.csv", "trailing. ", 'q"?*<>|', "x" * 300])
def test_a_name_we_make_is_one_that_windows_takes(name: str):
    made = PureWindowsPath(f"20260314-{file_name(name)}-lock.csv")
    assert len(made.parts) == 1
    assert not made.drive
    assert not set(made.name) & set('<>:"/\\|?*')
    assert len(made.name) < 200
    assert not PureWindowsPath(file_name(name)).is_reserved() if sys.version_info < (3, 13) else True


def called_name(call: ast.Call) -> str:
    """``open`` or ``os.open`` or ``path.open``."""
    return ast.unparse(call.func)


def names_its_encoding(call: ast.Call) -> bool:
    """Whether a call that opens a text file says how its text is written; bytes need no encoding."""
    given = [*call.args, *(word.value for word in call.keywords)]
    texts = [one.value for one in given if isinstance(one, ast.Constant) and isinstance(one.value, str)]
    in_bytes = any("b" in text and set(text) <= set("rwxab+t") for text in texts)
    return in_bytes or "utf-8" in " ".join(texts) or any(word.arg == "encoding" for word in call.keywords)


def opens_a_text(call: ast.Call) -> bool:
    """Whether it may open a file as text: a port's ``open()`` takes nothing, ``os.open`` and a reader of pictures give bytes."""
    name = called_name(call)
    last = name.rpartition(".")[2]
    if last == "open":
        return name not in {"os.open", "Image.open"} and bool(call.args or call.keywords)
    return last in {"fdopen", "read_text", "write_text"}


def test_every_text_file_is_opened_with_its_encoding_named():
    faults = [
        (path.as_posix(), node.lineno)
        for path, source in product_sources().items()
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call) and opens_a_text(node) and not names_its_encoding(node)
    ]
    assert faults == []


def test_the_search_finds_a_text_file_of_unknown_encoding():
    (call,) = [node for node in ast.walk(ast.parse("path.open('w')")) if isinstance(node, ast.Call)]
    assert opens_a_text(call)
    assert not names_its_encoding(call)
