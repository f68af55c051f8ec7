"""``enter``: throws measured by hand, one by options or a whole paper sheet pasted."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.options import (
    ask_questions,
    by_option,
    can_ask,
    logbook_of,
    moment,
    needed,
    now,
    question_answers,
    question_options,
    who,
)
from throwbook.cli.sheet_text import print_next, print_status
from throwbook.core.quantities.text import counted
from throwbook.core.wording import VERDICTS
from throwbook.errors import InputError

if TYPE_CHECKING:
    from throwbook.core.sheets.hand_readings import HandThrow
    from throwbook.jobs.enter import Entered

LONGEST = 1_000_000
"""Characters read from standard input; a paper sheet has a few hundred."""
ANSWER = click.Choice(["yes", "no", "not looked"])


NO_DAY = (
    "No day was given, so these throws count as made today. For older paper give its day: --at 2026-03-14."
)


@click.command()
@click.option("--rig", required=True, metavar="NAME", help="Rig in the logbook.")
@click.option("--direction", type=click.Choice(["lock", "unlock"]), help="One throw: its direction.")
@click.option("--time", "time", metavar="TIME", help="Stopwatch: 14.3s.")
@click.option("--run", metavar="CURRENT", help="Running current, by clamp meter: 2.1A.")
@click.option("--peak", metavar="CURRENT", help="Peak running current (highest after the inrush): 2.9A.")
@click.option("--voltage", metavar="VOLTAGE", help="Voltage under load, by voltmeter: 12.4V.")
@click.option("--rest-voltage", metavar="VOLTAGE", help="Voltage at rest, by voltmeter: 12.7V.")
@click.option(
    "--ended",
    type=click.Choice(["by itself", "stalled", "stopped short", "did not start"]),
    help="How the throw ended, as you saw it [default: stopped by itself].",
)
@click.option("--left-pin", type=ANSWER, help="Left pin seen in its hole.")
@click.option("--right-pin", type=ANSWER, help="Right pin seen in its hole.")
@click.option("--seen-how", default="", metavar="TEXT", help="How the pins were seen: lamp, mirror, ...")
@click.option("--load-check", type=click.Choice(["done", "failed"]), help="The manufacturer's load check.")
@click.option(
    "--retained-power-off", type=click.Choice(["yes", "no"]), help="The pins stayed put with the power off."
)
@click.option("--note", default="", metavar="TEXT", help="Anything else to record.")
@click.option("--paste", is_flag=True, help="Read lines from standard input, one line a throw.")
@click.option("--file", "file", type=click.Path(path_type=Path), help="The same from a text file.")
@click.option(
    "--kind",
    type=click.Choice(["bench", "commissioning", "seasonal", "after-service", "spot"]),
    help="Kind of the new sheet [default: spot].",
)
@click.option("--sheet", default="", metavar="NAME", help="Add to this open sheet instead of a new one.")
@click.option(
    "--at", "at", metavar="TIME", help="When the throws were made: 2026-03-14T09:12, or the day alone."
)
@click.option("--as-read", is_flag=True, help="Record unlikely readings: you really read them.")
@click.option(
    "--again", is_flag=True, help="These are new throws, although the logbook has the same readings."
)
@click.option("--clamp-accuracy", metavar="TEXT", help="From its data sheet: '2% + 3 digits'.")
@click.option("--volt-accuracy", metavar="TEXT", help="From its data sheet: '0.5% + 3 digits'.")
@click.option(
    "--meter",
    "meters",
    multiple=True,
    metavar="NAME",
    help="Read from this meter; repeat for each ('meter list').",
)
@question_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a throw, then one for the sheet.")
@by_option
@click.pass_context
def enter(ctx: click.Context, /, rig: str, as_json: bool, by: str | None, **given: Any) -> int:
    """Record throws measured by hand with stopwatch, clamp meter and voltmeter, and judge them.

    Type or paste lines like these. The first current is the running current, the second the peak running current:

    \b
      lock 14.3s 2.1A 2.9A 12.4V both seen, load check done, stayed put
      unlock 13.9s 1.8A 2.4A 12.5V     # a note

    Readings by hand never show a place on the travel. Exit code 1: a throw failed.

    \b
    Examples:
      throwbook enter --rig yard-loader --direction lock --time 14.3s --run 2.1A --peak 2.9A
      throwbook enter --rig yard-loader --kind seasonal --paste --seen-how lamp < sheet.txt
    """
    from throwbook.core.assessment import FAIL
    from throwbook.jobs.enter import HandEntry
    from throwbook.jobs.enter import enter as write_down

    started = now()
    throws = _throws(given)
    answers = question_answers(given)
    if not given["sheet"]:
        answers = ask_questions(answers)
    entry = HandEntry(
        throws,
        given["kind"] or "spot",
        given["sheet"],
        answers or None,
        given["seen_how"],
        _instruments(given),
        moment(given["at"], "--at", started),
        given["as_read"],
        given["again"],
        given["meters"],
    )
    done = write_down(logbook_of(ctx), rig, entry, who(by), started)
    if as_json:
        _print_json(done)
    else:
        _print(done)
        if (given["paste"] or given["file"]) and all(one.trial.started is None for one in done.trials):
            output.line(NO_DAY, style="warn", indent=2)
        print_next(logbook_of(ctx), done.state)
    return 1 if any(one.verdict == FAIL for one in done.assessments) else 0


def _throws(given: dict[str, Any]) -> "list[HandThrow]":
    from throwbook.core.sheets.hand_readings import parse_lines

    if given["file"] is not None:
        from throwbook.jobs.enter import sheet_text

        return parse_lines(sheet_text(given["file"]), str(given["file"]))
    if given["paste"]:
        if sys.stdin.isatty():
            click.echo("One line a throw; end with Ctrl-D on a line of its own.", err=True)
        try:
            return parse_lines(sys.stdin.read(LONGEST))
        except UnicodeDecodeError as error:
            raise InputError(
                "this is not text", "standard input", "Paste lines of plain text (UTF-8)."
            ) from error
    if given["direction"] is None and not can_ask():
        raise InputError(
            "no throw was given",
            "enter",
            "Give --direction with its readings, or --paste with one line a throw.",
        )
    return [_one_throw(given)]


def _one_throw(given: dict[str, Any]) -> "HandThrow":
    """One throw from the options, read by the same rules as a pasted line."""
    from dataclasses import replace

    from throwbook.core.sheets.hand_readings import parse_line

    direction = needed(given["direction"], "--direction", "Which way", ("lock", "unlock"))
    parts = [direction]
    for name, kind, word in (
        ("time", "time", ""),
        ("run", "current", "run"),
        ("peak", "current", "peak"),
        ("voltage", "voltage", "load"),
        ("rest_voltage", "voltage", "rest"),
        ("ambient", "temperature", ""),
    ):
        if given[name] is not None:
            parts.append(f"{word} {_typed(given[name], kind, name)}".strip())
    if given["ended"] not in (None, "by itself"):
        parts.append(given["ended"])
    throw = parse_line(" ".join(parts), "enter")
    return replace(
        throw,
        left_pin=given["left_pin"] or "not looked",
        right_pin=given["right_pin"] or "not looked",
        load_check={"done": "yes", "failed": "no", None: "not looked"}[given["load_check"]],
        retained_power_off=given["retained_power_off"] or "not looked",
        note=given["note"],
    )


def _typed(text: str, kind: str, name: str) -> str:
    """A quantity checked by the common rules (units, what is absurd), handed on as it was typed."""
    from throwbook.core.quantities.units import parse

    parse(text, kind, f"--{name.replace('_', '-')}")
    return text.strip().removeprefix("+")


def _instruments(given: dict[str, Any]) -> Any:
    from throwbook.core.sheets.hand_readings import (
        CLAMP_METER,
        VOLT_METER,
        Instruments,
        accuracy_from,
    )

    clamp, volt = given["clamp_accuracy"], given["volt_accuracy"]
    if given["meters"] and (clamp or volt):
        raise InputError(
            "a meter's accuracy is known by its name",
            "--meter",
            "Leave out --clamp-accuracy and --volt-accuracy.",
        )
    return Instruments(
        accuracy_from(clamp, "--clamp-accuracy") if clamp else CLAMP_METER,
        accuracy_from(volt, "--volt-accuracy") if volt else VOLT_METER,
        given["instruments"] or "",
    )


def _print(done: "Entered") -> None:
    output.line(
        f"Sheet {done.state.name} ({done.state.sheet.kind}): {counted(len(done.trials), 'throw')} written down."
    )
    for logged, judged in zip(done.trials, done.assessments, strict=True):
        position = logged.placement.position if logged.placement else 0
        style = {"pass": "good", "fail": "bad"}.get(judged.verdict, "warn")
        output.line(
            f"throw {position} ({judged.direction}): {VERDICTS[judged.verdict].column}. {judged.because}",
            style=style,
        )
    for note, numbers in _notes(done).items():
        whose = "" if len(numbers) == len(done.trials) else f"throw {', '.join(map(str, numbers))}: "
        output.line(f"{whose}{note}", style="quiet", indent=2)
    print_status(done.state.sheet.rig, done.status)


def _notes(done: "Entered") -> dict[str, list[int]]:
    """Each note once, with the numbers of its throws."""
    found: dict[str, list[int]] = {}
    for logged, judged in zip(done.trials, done.assessments, strict=True):
        for note in dict.fromkeys(judged.notes):
            found.setdefault(note, []).append(logged.placement.position if logged.placement else 0)
    return found


def _print_json(done: "Entered") -> None:
    from throwbook.files.tables import assessment_record

    for judged in done.assessments:
        output.json_line({"sheet": done.state.name, **assessment_record(judged)})
    output.json_line({"sheet": done.state.name, "rig": done.state.sheet.rig, "status": done.status.level})
