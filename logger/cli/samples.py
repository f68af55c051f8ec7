"""``throwbook samples``: write the sample runs."""

from pathlib import Path

import click

from logger.cli import output


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def samples(folder: Path) -> None:
    """Write the sample runs into FOLDER: a rig file, a baseline set and simulated records of every sign.

    The same files come out each time, byte for byte; FOLDER/README.md says what each one shows.

    \b
    Example:
      throwbook samples try-out
      throwbook assess --rig try-out/yard-loader.toml --baseline try-out/baseline try-out/signs
    """
    from logger.jobs.samples import write_samples

    written = write_samples(folder)
    output.line(
        f"{written.files} files, {written.bytes / 1e6:.1f} MB in {written.folder}. Start with README.md there."
    )
