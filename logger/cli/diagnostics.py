"""The only writer to stderr, and the only place that knows the exit codes.

0 done and nothing failed · 1 done and at least one verdict is ``fail`` · 2 wrong use or bad input · 3 the outside
failed. A command returns its exit code (None means 0).
"""

import sys

import click

from logger.errors import ThrowbookError


def complain(line: str) -> None:
    """One line on stderr."""
    click.echo(f"throwbook: {' '.join(line.split())}", err=True)


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
        complain(error.format_message().rstrip(".") + "." + hint)
        return 2
    except click.Abort:
        complain("stopped by the keyboard; nothing more was done.")
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except OSError as error:
        complain(f"{error.filename or 'the system'}: {error.strerror or error}.")
        return 3
    return outcome if isinstance(outcome, int) else 0
