"""``throwbook assess``: traces judged, no logbook needed."""

from typing import Any

import click

from logger.cli.columns import column_factors, unit_options
from logger.files.tracefile import TraceLimits

EXAMPLE = """\b
Examples:
  throwbook assess --rig quarry-loader.toml --baseline baseline/ lock-01.csv
  throwbook assess --rig quarry-loader.toml --json sample-runs/*.csv
  throwbook assess --rig quarry-loader.toml --direction lock \\
      --column time=T --column current="I [mA]" bench.csv
"""


@click.command(epilog=EXAMPLE)
@click.option("--rig", "rig_source", required=True, metavar="NAME-or-FILE.toml", help="The rig to judge by.")
@click.option(
    "--baseline",
    multiple=True,
    metavar="FILE",
    help="A healthy trace, or a folder of them; give it as often as needed. Each direction gets its own baseline. "
    "A rig of the logbook brings its own.",
)
@click.option(
    "--column",
    multiple=True,
    metavar="QUANTITY=NAME",
    help='Column of another program\'s file: time=NAME, current="NAME [mA]", voltage=NAME.',
)
@click.option(
    "--direction", type=click.Choice(["lock", "unlock"]), help="Which way, for files that don't say it."
)
@unit_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, in the order of the files.")
@click.option("--plot", metavar="FILE", help="Draw into FILE: .png or .svg for one trace, .pdf for many.")
@click.option(
    "--max-rows",
    type=click.IntRange(min=1),
    default=TraceLimits.rows,
    show_default=True,
    help="Refuse files with more rows.",
)
@click.option(
    "--max-mib",
    type=click.IntRange(min=1),
    default=TraceLimits.bytes // 2**20,
    show_default=True,
    help="Refuse files beyond this size [MiB].",
)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.pass_context
def assess(ctx: click.Context, /, **given: Any) -> int:
    """Judge recorded throws: figures with their uncertainty, what was noticed, likely causes, a verdict.

    Each FILE is one record (a folder stands for the .csv files in it); a record of several movements has each of them
    judged by itself. Exit code 1 means that at least one throw failed;
    with --json it is 0 whatever the verdicts are.
    """
    from logger.cli import assess_text, output
    from logger.cli.diagnostics import progress
    from logger.jobs.assess import Reading, assess_files
    from logger.jobs.rigsource import find_rig

    reading = Reading(
        given["column"],
        given["direction"],
        TraceLimits(given["max_rows"], given["max_mib"] * 2**20),
        column_factors(given),
    )
    source = find_rig(given["rig_source"], ctx.obj["logbook"])
    with progress("judging") as report:
        judged = assess_files(
            given["files"],
            source.rig,
            given["baseline"],
            reading=reading,
            known_baselines=source.baselines,
            plot=given["plot"],
            progress=report,
        )
    if given["as_json"]:
        from logger.files.jsonl import assessment_record

        for assessment in judged.assessments:
            output.json_line(assessment_record(assessment))
        return 0
    assess_text.show(judged, given["plot"])
    return 1 if any(assessment.verdict == "fail" for assessment in judged.assessments) else 0
