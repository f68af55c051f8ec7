"""What a fresh process loads: the core stays pure, `--help` stays light."""

import subprocess
import sys

HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "textual", "pint", "rich")


def modules_after(code: str) -> set[str]:
    out = subprocess.run(
        [sys.executable, "-c", f"import sys\n{code}\nprint(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(out.stdout.split())


def test_help_imports_nothing_heavy():
    loaded = modules_after(
        "from throwbook.cli.main import throwbook\nthrowbook.main(['--help'], standalone_mode=False)"
    )
    assert not loaded.intersection(HEAVY)


def test_core_loads_no_port_and_no_database():
    loaded = modules_after("import throwbook.core.assessment, throwbook.core.rig, throwbook.core.trace")
    assert not loaded.intersection({"serial", "sqlite3", "subprocess", "socket"})
