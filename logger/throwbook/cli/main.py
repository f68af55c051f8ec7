"""The parser: which command lives where, and what --version shows. Nothing is imported until a command needs it."""

import io
import os
import sys
from importlib import import_module

import click

from throwbook import __version__
from throwbook.cli import diagnostics

LIBRARIES = (
    *(
        "click",
        "matplotlib",
        "numpy",
        "pandas",
        "pillow",
        "pint",
        "platformdirs",
        "pypdf",
        "pyserial",
        "reportlab",
        "rich",
    ),
    *("scipy", "textual", "tomli-w"),
)
"""Those of pyproject.toml; a test holds the two together."""
OPTIONAL = ("PyVISA", "pyarrow", "distributed")


def about() -> list[str]:
    """Lines, the version first; nothing heavy is imported for them."""
    import platform
    import sqlite3

    return [
        f"throwbook {__version__}",
        f"Python {platform.python_version()} ({platform.python_implementation()}), {platform.platform()}",
        f"SQLite {sqlite3.sqlite_version}, text as {sys.stdout.encoding}",
        ", ".join(f"{name} {_version(name)}" for name in LIBRARIES),
        "optional: " + ", ".join(f"{name} {_version(name)}" for name in OPTIONAL),
    ]


def _version(name: str) -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


# command: (module, attribute, what it does in one line). The line stands here so that `--help` imports nothing.
COMMANDS: dict[str, tuple[str, str, str]] = {
    "demo": ("throwbook.cli.demo", "demo", "Show the whole job on an invented rig; no hardware."),
    "rig": ("throwbook.cli.rig", "rig", "Rigs: add, list, show; fit judges an actuator before it is bought."),
    "board": ("throwbook.cli.board", "board", "Find, check, calibrate and simulate current-sense boards."),
    "record": ("throwbook.cli.record", "record", "Record one throw from a board and judge it."),
    "assess": ("throwbook.cli.assess", "assess", "Judge recorded throws; no logbook needed."),
    "enter": ("throwbook.cli.enter", "enter", "Enter throws measured by hand, and judge them."),
    "meter": ("throwbook.cli.meter", "meter", "Meters and stopwatches that throws are read from: add, list."),
    "sheet": ("throwbook.cli.sheet", "sheet", "Test sheets: plan, look, accept or reject."),
    "service": ("throwbook.cli.service", "service", "Maintenance history: add, list."),
    "status": (
        "throwbook.cli.status",
        "status",
        "Status of a rig, its open orders, the steps to clear them.",
    ),
    "order": ("throwbook.cli.status", "order", "Restrict a rig, or clear it by a signed clearance."),
    "import": ("throwbook.cli.importing", "import_", "Judge trace files and log them as one sheet."),
    "trend": (
        "throwbook.cli.trend",
        "trend",
        "Trend, control chart and forecast of one rig, or of all, most urgent first.",
    ),
    "search": ("throwbook.cli.search", "search", "Find words in everything that was written."),
    "report": ("throwbook.cli.report", "report", "Test report of a rig: PDF and HTML."),
    "cab-card": ("throwbook.cli.report", "cab_card", "Cab card: expected values, when to stop."),
    "export": (
        "throwbook.cli.logbook",
        "export",
        "Write the logbook's tables as CSV, JSON lines or Parquet.",
    ),
    "merge": ("throwbook.cli.logbook", "merge", "Merge another logbook into this one."),
    "check": ("throwbook.cli.logbook", "check", "Logbook check: find what was changed or lost."),
    "backup": (
        "throwbook.cli.logbook",
        "backup",
        "Back up the logbook, also while in use; the copy is verified.",
    ),
    "man": ("throwbook.cli.guide", "man", "Print the manual page of all commands, for man."),
    "serve": ("throwbook.cli.serve", "serve", "The screens in a browser."),
    "samples": (
        "throwbook.cli.demo",
        "samples",
        "Write simulated sample runs, to see the signs and try the commands.",
    ),
}


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the one command that was asked for."""
        if cmd_name not in COMMANDS:
            return None
        module, attribute, _ = COMMANDS[cmd_name]
        command: click.Command = getattr(import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands from the table alone."""
        if not COMMANDS:
            return
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, _, line) in COMMANDS.items()])


def _about(ctx: click.Context, asked: bool) -> None:
    """``--version``: one line, then what a report of a fault should name."""
    if asked and not ctx.resilient_parsing:
        from throwbook.cli.output import line

        for text in about():
            line(text)
        ctx.exit()


@click.group(
    cls=LazyGroup, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=lambda ctx, param, asked: _about(ctx, asked),
    help="Show the version, and the environment it runs in.",
)
@click.option("--logbook", metavar="PATH", envvar="THROWBOOK_LOGBOOK", help="Logbook file to work on.")
@click.pass_context
def throwbook(ctx: click.Context, logbook: str | None) -> None:
    """Prove that electric lock pins throw fully and within their rating; write it down; check it each season.

    Without a command, opens the terminal UI.
    """
    ctx.obj = {"logbook": logbook}
    if ctx.invoked_subcommand is None:
        from throwbook_tui.app import run

        run(logbook)


def _in_the_consoles_code_page() -> None:
    """In a pipe, Windows' Python writes by the computer's code page; cmd and PowerShell read by that of the console."""
    if sys.platform == "win32":
        import os

        from throwbook.jobs.windows import console_code_page

        page = console_code_page()
        if page and not (os.environ.get("PYTHONIOENCODING") or os.environ.get("PYTHONUTF8")):
            for stream in (sys.stdout, sys.stderr):
                if isinstance(stream, io.TextIOWrapper) and not stream.isatty():
                    stream.reconfigure(encoding=f"cp{page}", errors="replace")


def main() -> None:
    """Entry point: run one command and turn its outcome into an exit code."""
    # What it starts itself looks for no module in the folder that it is started in: a person's own pickle.py stays theirs.
    os.environ["PYTHONSAFEPATH"] = "1"
    _in_the_consoles_code_page()
    sys.exit(diagnostics.run(throwbook))
