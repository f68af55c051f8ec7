"""No code runs from a data file: what could do that isn't used anywhere in the product."""

import ast
from collections.abc import Iterator

import pytest

from tests.house import product_sources

MODULES = {
    "pickle", "cPickle", "dill", "marshal", "shelve", "joblib", "yaml", "subprocess", "code", "runpy", "xml.etree",
    "xml.dom", "xml.sax.expatreader", "ctypes", "tarfile", "telnetlib",
}  # fmt: skip
CALLS = {"eval", "exec", "compile", "__import__", "breakpoint"}
ATTRIBUTES = {
    ("os", "system"), ("os", "popen"), ("os", "execv"), ("numpy", "load"), ("np", "load"), ("pd", "read_pickle"),
    ("pandas", "read_pickle"), ("pd", "eval"), ("db", "enable_load_extension"), ("shutil", "unpack_archive"),
}  # fmt: skip
FINE = {
    (f"{file}.py", "import_module")
    for file in ("logger/throwbook/cli/main", "logger/throwbook/__init__", "tui/throwbook_tui/context")
}
"""Our own tables of commands, of the Python interface and of screens, nothing that was read."""
FINE |= {("tui/throwbook_tui/context.py", "subprocess")}
"""The system's own viewer, on a paper that was made just now; without a shell."""
FINE |= {("logger/throwbook/cli/serve.py", "subprocess")}
"""The name of a flag: what ``serve`` starts is this program alone, without a shell."""
FINE |= {("logger/throwbook/jobs/windows.py", "ctypes")}
"""Windows' own library, asked for nothing that was read."""


def forbidden(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and name of each use."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            names = []
        for name in names:
            if any(name == module or name.startswith(f"{module}.") for module in MODULES):
                yield node.lineno, name
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name) and called.id in CALLS | {"import_module"}:
                yield node.lineno, called.id
            if isinstance(called, ast.Attribute):
                if isinstance(called.value, ast.Name) and (called.value.id, called.attr) in ATTRIBUTES:
                    yield node.lineno, f"{called.value.id}.{called.attr}"
                if any(word.arg == "shell" for word in node.keywords):
                    yield node.lineno, "shell="


def test_nothing_that_runs_what_it_reads_is_used():
    faults = [
        (path.as_posix(), line, what)
        for path, source in product_sources().items()
        for line, what in forbidden(ast.parse(source))
        if (path.as_posix(), what) not in FINE
    ]
    assert faults == []


@pytest.mark.parametrize(
    "text",
    [
        "import pickle",
        "from yaml import load",
        "from xml import etree",
        "eval(text)",
        "np.load(path)",
        "subprocess.run(x, shell=True)",
        "import_module(name)",
    ],
)
def test_the_search_finds_what_it_looks_for(text: str):
    assert list(forbidden(ast.parse(text)))
