"""``throwbook record``: one trial from a board."""

import signal
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.diagnostics import complain, worded
from throwbook.cli.options import (
    AirTemperature,
    Quantity,
    Typing,
    ask_one_of,
    baud_option,
    by_option,
    can_ask,
    logbook_of,
    now,
    who,
)
from throwbook.core.quantities.text import counted
from throwbook.core.sheets.conditions import AT_THE_BOARD
from throwbook.core.wording import ABOUT_TO_MOVE, VERDICTS, switches_at_end_said, switches_said
from throwbook.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from throwbook.cli.record_end import Ending
    from throwbook.core.analysis.live import LiveFigures
    from throwbook.core.assessment import Assessment
    from throwbook.jobs.record import RecordPlan
    from throwbook.jobs.recording import Recorded
    from throwbook.jobs.store_trial import Place, StoredTrial
    from throwbook.jobs.unfinished import Unfinished
    from throwbook.protocol.messages import Identity

EXAMPLE = """\b
Examples:
  throwbook record --rig quarry-loader.toml --port /dev/ttyUSB0 --direction lock
  throwbook record --rig quarry-loader --port /dev/ttyUSB0 --direction unlock --out unlock-1.csv
  throwbook record --rig bench-1.toml --port scpi:ASRL/dev/ttyUSB0::INSTR --direction lock
  throwbook record --recover
Without hardware, in another terminal: throwbook board rehearse --rig quarry-loader.toml
"""


@click.command(epilog=EXAMPLE)
@click.option("--rig", "rig_ref", metavar="NAME-or-FILE.toml", help="The rig that throws.")
@click.option(
    "--port", metavar="PORT", help="Serial port of the board (see throwbook board find), or scpi:RESOURCE."
)
@click.option("--direction", type=click.Choice(["lock", "unlock"]), help="Direction of the throw.")
@baud_option
@click.option("--rate", type=int, help="Samples per second [default: 200; 10 from a bench instrument].")
@click.option(
    "--reading",
    type=click.Choice(["measure", "fetch"]),
    default="measure",
    show_default=True,
    help="How a bench instrument is read.",
)
@click.option(
    "--seconds", type=Quantity("time"), help="Record for this long instead of until the current is off."
)
@click.option("--key", "by_key", is_flag=True, help="Start and stop with Enter instead of with the current.")
@click.option(
    "--ambient",
    type=AirTemperature(),
    help="Air temperature; 'board' takes what the probe at the board reads.",
)
@click.option("--out", type=click.Path(path_type=Path), help="Trace file to write, or a folder for it.")
@click.option(
    "--kind",
    type=click.Choice(["bench", "spot"]),
    default="spot",
    show_default=True,
    help="Kind of the new sheet, for a rig of the logbook.",
)
@click.option("--sheet", default="", metavar="ID", help="Add to this open sheet of the logbook instead.")
@click.option(
    "--movements",
    type=click.Choice(["split", "refuse"]),
    help="What to do with several movements in a record. 'split' (default in a pipe) keeps each as a throw and asks nothing. A movement whose direction cannot be found is judged both ways, and the worse counts. 'refuse' leaves the record to --recover.",
)
@click.option("--recover", is_flag=True, help="Judge and keep what is left of interrupted recordings.")
@click.option(
    "--discard",
    is_flag=True,
    help="With --recover: judge them and tighten the status if they call for it, but count none of them.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object for each movement.")
@by_option
@click.pass_context
def record(ctx: click.Context, /, **given: Any) -> int:
    """Record one throw. It starts with the current and stops when the current is off.

    Every sample is saved to disk first. After a crash --recover finds the recording. Until it is judged the rig is
    restricted, no sheet of it can be accepted and no order cleared.
    Enter ends it by hand. A throw without any current is then recorded as 'did not start'. Ctrl-C before any current
    ends it without a throw and leaves a file. On SIGTERM (end) or SIGHUP (terminal closed) it stops, stores and judges. Exit
    code 1: the verdict is fail.
    """
    logbook = logbook_of(ctx)
    if given["discard"] and not given["recover"]:
        raise click.UsageError("--discard goes with --recover")
    if given["recover"]:
        return _recover_all(given, logbook)
    _need(given)
    _offer_recovery(given, logbook)
    while True:
        code, told_to_end = _one_trial(given, logbook)
        if told_to_end or code != 3 or not can_ask():
            return code
        if not click.confirm("Go on with a new recording?", err=True):
            return code


def _need(given: dict[str, Any]) -> None:
    for option in ("rig_ref", "port", "direction"):
        if given[option] is None:
            name = "rig" if option == "rig_ref" else option
            raise click.UsageError(f"--{name} is missing")


def _one_trial(given: dict[str, Any], logbook: str | None) -> tuple[int, bool]:
    """Exit code, and whether the program was asked to end meanwhile."""
    from throwbook.cli.record_end import Ending
    from throwbook.core.wording import SHOWN_AT
    from throwbook.jobs.calibrate import calibration_finder
    from throwbook.jobs.find import find_rig, journal_folder, means_a_file
    from throwbook.jobs.record import (
        DEFAULT_RATE_HZ,
        PREFIX,
        SLOW_RATE_HZ,
        Recording,
        RecordPlan,
    )
    from throwbook.jobs.store_trial import keep

    found = find_rig(given["rig_ref"], logbook, given["kind"], given["sheet"])
    plan = RecordPlan(
        port=given["port"],
        rig=found.rig,
        baselines=found.baselines,
        rig_ref=_lasting(given["rig_ref"]),
        direction=given["direction"],
        folder=journal_folder(logbook),
        baud=given["baud"],
        rate_hz=given["rate"] or (SLOW_RATE_HZ if given["port"].startswith(PREFIX) else DEFAULT_RATE_HZ),
        reading=given["reading"],
        seconds=given["seconds"],
        by_key=given["by_key"],
        ambient_c=None if given["ambient"] == AT_THE_BOARD else given["ambient"],
        on_bench=found.kind == "bench",
        calibration_of=calibration_finder(logbook),
    )
    if not given["as_json"]:
        for caution in SHOWN_AT["record"]:
            output.line(caution, style="heading")
        output.line(f"Connecting to the board on {plan.port} ...")
    ready = _ready(plan, given["as_json"])
    recording = Recording(
        plan,
        now=now,
        on_live=lambda figures: ending.tell(_show_live, figures),
        on_note=lambda line: ending.tell(_note, line),
        on_ready=lambda identity: ending.tell(ready, identity),
    )
    ending = Ending(recording.finish)
    keys = _Keys(recording)
    with ending:
        with keys:
            recorded = recording.run()
        ending.tell(output.status, "")
        if ending.why and recorded.no_current:
            recorded.let_go()
            complain(
                f"{ending.why} before any current flowed. Nobody knows whether the switch was thrown: --recover"
            )
            return 3, True
        recorded = _in_its_air(recorded, given, ending)
        recorded = _with_directions(recorded, given, ending)
        in_logbook = not means_a_file(recorded.rig_ref)
        kept = keep(recorded, _place(given, logbook, in_logbook, given_up=keys.given_up), now())
        return _show(recorded, kept, given), bool(ending.why)


def _ready(plan: "RecordPlan", as_json: bool) -> "Callable[[Identity], None]":
    def show(identity: "Identity") -> None:
        if not as_json:
            whose = f"the {plan.direction} throw of {plan.rig.name}"
            output.line(f"Board {identity.id} is sampling. Ready for {whose}. {_how(plan.by_key)}")
            output.flush()

    return show


def _how(by_key: bool) -> str:
    if by_key:
        return f"{ABOUT_TO_MOVE} Enter starts it, Enter stops it."
    ends = " Recording stops by itself, or with Enter." if can_ask() else ""
    return f"{ABOUT_TO_MOVE} Ready: throw now.{ends}"


def _lasting(rig_ref: str) -> str:
    """The rig so named that it is found from any folder later."""
    from throwbook.jobs.find import means_a_file

    return str(Path(rig_ref).resolve()) if means_a_file(rig_ref) else rig_ref


class _Keys:
    """Enter and Ctrl-C while a recording runs."""

    def __init__(self, recording: Any) -> None:
        self.recording = recording
        self._typing = Typing()
        self._presses = 0
        self.given_up = False
        """Ctrl-C ended it; Enter, which ends a throw that was made, didn't."""
        self._over = threading.Event()
        self._listener = threading.Thread(target=self._enter_keys, daemon=True)

    def __enter__(self) -> None:
        self._before = signal.signal(signal.SIGINT, self._interrupt)
        if can_ask():
            self._listener.start()

    def __exit__(self, *exc: object) -> None:
        signal.signal(signal.SIGINT, self._before)
        self._over.set()
        if self._listener.is_alive():
            self._listener.join()  # what is typed from here on answers a question

    def _enter_keys(self) -> None:
        if self.recording.plan.by_key and self._enter():
            self.recording.begin()
        if self._enter():
            self.recording.finish()

    def _enter(self) -> bool:
        """Whether Enter was pressed before the recording was over."""
        while not self._over.is_set():
            if (line := self._typing.line()) is not None:
                return bool(line)
        return False

    def _interrupt(self, number: int, frame: object) -> None:
        del number, frame
        self._presses += 1
        if self._presses > 1:
            raise KeyboardInterrupt
        self.given_up = True
        self.recording.finish()


PHASES = {"resting": "waiting for current", "flowing": "running", "over": "off again"}


def _show_live(figures: "LiveFigures") -> None:
    """One line that fits 80 columns, the warning first; the pin switches take the room of voltage and travel."""
    from throwbook.core.analysis.live import AT_STALL

    volts = "" if figures.voltage_v is None else f"  {figures.voltage_v:5.2f} V"
    switches = "  ".join(switches_said(figures.left_switch, figures.right_switch))
    warned = "!! RELEASE SWITCH" if figures.warning == AT_STALL else "!! CURRENT TOO HIGH"
    output.status(
        f"{warned if figures.warning else PHASES[figures.phase]:<20}"
        f"{figures.running_s:6.1f} s  {figures.current_a:5.2f} A  "
        + (switches or f"peak {figures.peak_a:5.2f} A{volts}  travel ~{100 * figures.travel_fraction:3.0f} %")
    )


def _note(line: str) -> None:
    output.status("")
    complain(line)


def _place(
    given: dict[str, Any], logbook: str | None, in_logbook: bool, *, given_up: bool = False
) -> "Place":
    from throwbook.jobs.store_trial import Place

    return Place(
        out=given["out"],
        logbook=logbook,
        in_logbook=in_logbook,
        sheet=given["sheet"],
        kind=given["kind"],
        by=who(given["by"]) if in_logbook else "",
        given_up=given_up,
    )


def _show(recorded: "Recorded", kept: "StoredTrial", given: dict[str, Any]) -> int:
    """What came of it and where it is kept; gives the exit code."""
    assert recorded.trace is not None  # run() raises where there are no samples
    name = str(kept.file or recorded.trace.source)
    if given["as_json"]:
        from throwbook.files.tables import assessment_record

        for judged in _named(recorded, name):
            output.json_line(assessment_record(judged))
    else:
        _print(recorded, name, kept.sheet)
        if kept.kept_out:
            output.line(f"Not in the logbook: {kept.kept_out}.", style="warn")
        if kept.rig_status is not None:
            from throwbook.cli.status import print_rig_status

            print_rig_status(kept.rig_status)
    if kept.kept_out and given["sheet"]:
        complain(f"{given['sheet']}: nothing was added to this sheet: {kept.kept_out}")
        return 2
    if recorded.problem is not None:
        complain(worded(recorded.problem))
        return recorded.problem.exit_code
    failed = any(one.assessment.verdict == "fail" for one in recorded.throws)
    return 1 if failed and not given["as_json"] else 0


def _with_directions(
    recorded: "Recorded", given: dict[str, Any], ending: "Ending | None" = None
) -> "Recorded":
    """Its movements as ``--movements`` says: refused, split, or asked about until the program is told to end."""
    if given["movements"] == "refuse" and len(recorded.throws) > 1:
        recorded.let_go()
        what = f"it holds {counted(len(recorded.throws), 'movement')}"
        raise InputError(what, str(recorded.journal), "Keep each as a throw: throwbook record --recover")
    if given["movements"] is not None:
        return recorded
    return ending.unless_asked_to_end(lambda: _asked(recorded), recorded) if ending else _asked(recorded)


def _in_its_air(recorded: "Recorded", given: dict[str, Any], ending: "Ending | None" = None) -> "Recorded":
    """By ``--ambient board``, or as a person says who is asked; else as it was typed, and the doubt is told."""
    if given["ambient"] == AT_THE_BOARD:
        if recorded.trace is not None and recorded.trace.at_the_board_c is not None:
            return recorded.with_board_air()
        complain("the board gave no temperature: the air temperature is not recorded")
        return recorded
    doubt = recorded.air_doubt
    asks = can_ask() and recorded.air_question
    if doubt and not asks:
        complain(f"{doubt} --ambient board takes the probe's")
    if not asks:
        return recorded

    def asked() -> str:
        return ask_one_of(f"{doubt} Take it as the air temperature?", ("yes", "no"))

    answer = ending.unless_asked_to_end(asked, "no") if ending else asked()
    return recorded.with_board_air() if answer == "yes" else recorded


def _asked(recorded: "Recorded") -> "Recorded":
    """At a terminal, ask which way the movements went whose direction the current doesn't tell; else the worse counts."""
    if not recorded.untold or not can_ask():
        return recorded
    complain(f"{counted(len(recorded.throws), 'movement')} in this record")
    ways = {}
    for number in recorded.untold:
        asked = f"Movement {number} of {len(recorded.throws)}: was it lock or unlock?"
        ways[number] = ask_one_of(asked, ("lock", "unlock"))
    return recorded.directed(ways)


def _named(recorded: "Recorded", name: str) -> "tuple[Assessment, ...]":
    from dataclasses import replace

    return tuple(replace(one.assessment, file=name) for one in recorded.throws)


def _print(recorded: "Recorded", name: str, sheet: str) -> None:
    from throwbook.cli import assess
    from throwbook.core.quantities.units import show_rest
    from throwbook.jobs.assess import AssessedFiles

    output.line(
        f"{recorded.samples} samples, {recorded.lost} lost, {recorded.dropped} lines dropped; {recorded.ended}."
    )
    output.line(f"Kept in {name}" + (f" and on sheet {sheet}." if sheet else "."))
    if recorded.trace is not None:
        stood = recorded.trace.switches_at_end
        if said := switches_at_end_said(*stood, lock=recorded.ends_with_lock):
            output.line(said)
    output.line()
    if len(recorded.throws) > 1:
        output.line(
            f"{counted(len(recorded.throws), 'movement')} in this record; each is a throw of its own."
        )
        output.line()
    ways = {one.trace.direction for one in recorded.throws}
    baselines = {way: baseline for way, baseline in recorded.baselines.items() if way in ways}
    assess.show(AssessedFiles(recorded.rig, baselines, _named(recorded, name)), None)
    if recorded.rest_s is not None:
        output.line(f"Rest: the duty cycle calls for {show_rest(recorded.rest_s)} before the next throw.")


# ---- recordings that broke off ----


def _offer_recovery(given: dict[str, Any], logbook: str | None) -> None:
    from throwbook.jobs.store_trial import left_over

    left = left_over(logbook)
    if not left:
        return
    what = f"{counted(len(left), 'recording')} {'was' if len(left) == 1 else 'were'} interrupted and never judged"
    if can_ask() and click.confirm(
        f"{what}. Judge {'it' if len(left) == 1 else 'them'} now?", default=True, err=True
    ):
        _recover_all({**given, "rig_ref": None, "out": None}, logbook)
    else:
        complain(f"{what}: throwbook record --recover")


def _recover_all(given: dict[str, Any], logbook: str | None) -> int:
    """One after the other: one that can't be judged stands in no other's way."""
    from throwbook.errors import ThrowbookError
    from throwbook.jobs.store_trial import left_over

    left = left_over(logbook)
    if not left:
        output.line("There are no interrupted recordings.")
    worst = 0
    for one in left:
        try:
            code = _discard(one, given, logbook) if given["discard"] else _recover(one, given, logbook)
        except ThrowbookError as error:
            complain(worded(error))
            code = error.exit_code
        worst = max(worst, code)
    return worst


def _recover(one: "Unfinished", given: dict[str, Any], logbook: str | None) -> int:
    from throwbook.jobs.store_trial import keep, recover_unfinished

    recorded, in_logbook = recover_unfinished(
        one, logbook, given["rig_ref"] or "", given["kind"], given["sheet"]
    )
    for note in recorded.notes:
        complain(note)
    recorded = _with_directions(_in_its_air(recorded, given), given)
    return _show(recorded, keep(recorded, _place(given, logbook, in_logbook), now()), given)


def _discard(one: "Unfinished", given: dict[str, Any], logbook: str | None) -> int:
    """It is judged all the same: only what nothing flowed in goes without a trace."""
    from throwbook.jobs.store_trial import judge_left_over

    [done] = judge_left_over([one], logbook, who(given["by"]), now(), discard=True)
    if done.error is not None:
        raise done.error
    whose = f"{one.rig or 'a rig that nobody knows'}, {one.direction or 'either way'}"
    if done.recorded is None or done.recorded.assessment is None:
        output.line(f"{whose}: cannot be judged. It was set aside: {done.set_aside}", style="warn")
        return 0
    judged = done.recorded.assessment
    if done.kept is None:
        why = "no current flowed in it" if done.recorded.no_current else "its rig is not in this logbook"
        output.line(f"{whose}: {VERDICTS[judged.verdict].column}. Dropped: {why}.")
    else:
        output.line(f"{whose}: {VERDICTS[judged.verdict].column}. {judged.because}".rstrip())
        output.line(f"It does not count. It stays on sheet {done.kept.sheet} with what it shows.")
        if done.kept.rig_status is not None:
            from throwbook.cli.status import print_rig_status

            print_rig_status(done.kept.rig_status)
    return 1 if judged.verdict == "fail" else 0
