"""The commands demo and samples."""

from pathlib import Path

import click

from throwbook.cli import output


@click.command()
@click.option("--folder", type=click.Path(path_type=Path, file_okay=False), help="Where to write everything.")
def demo(folder: Path | None) -> None:
    """Show the whole job on an invented rig: bench test, commissioning, three winters, a service, the papers.

    It asks nothing and needs no hardware. The throws are simulated, everything else is real. All files stay in FOLDER
    (default: a new folder here).

    \b
    Example:
      throwbook demo
      throwbook demo --folder /tmp/try-out
    """
    from throwbook.jobs.demo import run_demo

    done = run_demo(folder or _new_folder(Path("throwbook-demo")), _tell)
    output.line("")
    output.line(f"Everything is in {done.folder}: the logbook {done.logbook.name}, the records, the papers.")
    for paper in done.papers:
        output.line(f"  {paper}")
    output.line(f"Look around: throwbook --logbook {done.logbook}")


def _tell(chapter) -> None:  # type: ignore[no-untyped-def]
    output.line("")
    output.line(f"== {chapter.title}")
    output.line(f"   $ {chapter.command}")
    for line in chapter.says:
        output.line(f"   {line}")


def _new_folder(wanted: Path) -> Path:
    """The first of throwbook-demo, throwbook-demo-2, ... that isn't there yet."""
    number = 2
    folder = wanted
    while folder.exists():
        folder = wanted.with_name(f"{wanted.name}-{number}")
        number += 1
    return folder


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def samples(folder: Path) -> None:
    """Write the sample runs into FOLDER: a rig file, a baseline set and simulated records that show the signs.

    The files are the same each time, byte for byte. FOLDER/README.md lists what each one shows.

    \b
    Example:
      throwbook samples try-out
      throwbook assess --rig try-out/yard-loader.toml --baseline try-out/baseline try-out/signs
    """
    from throwbook.jobs.sample_runs import write_samples

    written = write_samples(folder)
    output.line(
        f"{written.files} files, {written.bytes / 1e6:.1f} MB in {written.folder}. Start with README.md there."
    )
