"""The only writer to stderr, and the only place that knows the exit codes.

0 done and nothing failed · 1 done and at least one verdict is ``fail`` · 2 wrong use or bad input · 3 the outside
failed. A command returns its exit code (None means 0).
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

from throwbook.core.quantities.text import printable
from throwbook.errors import ThrowbookError


def complain(line: str) -> None:
    """One line on stderr."""
    click.echo(f"throwbook: {printable(' '.join(line.split()))}", err=True)


@contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """Give a callback ``(done, total)`` that draws a bar on a terminal and nothing in a pipe."""
    if not (sys.stderr.isatty() and sys.stdout.isatty()):
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _ended(text: str) -> str:
    return text if text.endswith("?") else text.rstrip(".") + "."


def run(command: click.Command, args: list[str] | None = None) -> int:
    """Run ``command`` and give its exit code; every error becomes one line."""
    try:
        outcome = command.main(args=args, prog_name="throwbook", standalone_mode=False)
    except ThrowbookError as error:
        complain(str(error))
        return error.exit_code
    except click.ClickException as error:
        hint = ""
        if isinstance(error, click.UsageError) and error.ctx is not None:
            hint = f" Try '{error.ctx.command_path} --help'."
        complain(_ended(error.format_message()) + hint)
        return 2
    except click.Abort:
        complain("stopped by the keyboard; nothing more was done.")
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except SystemExit:
        return 0  # click's own answer to a reader that went away, as `head` does: no verdict lies in it
    except OSError as error:
        complain(f"{error.filename or 'the system'}: {error.strerror or error}.")
        return 3
    return outcome if isinstance(outcome, int) else 0
