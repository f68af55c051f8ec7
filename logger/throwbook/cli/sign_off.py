"""What a person saw after the lock throws of a sheet, and the decision signed on it: see, accept, reject."""

from pathlib import Path
from typing import Any

import click

from throwbook.cli import output
from throwbook.cli.options import by_option, can_ask, logbook_of, needed, now, reason_option, who
from throwbook.cli.sheet_text import blanks_said, print_status
from throwbook.core.quantities.text import counted
from throwbook.core.records import PinAnswers
from throwbook.core.rig import SIDES
from throwbook.errors import InputError

ANSWER = click.Choice(["yes", "no", "not looked"])

LOAD_CHECK = {"done": "yes", "failed": "no", "not done": "not looked"}

RETAINED = {"yes": "yes", "no": "no", "not tried": "not looked"}


@click.command()
@click.argument("name")
@click.option(
    "--throw",
    "throws",
    multiple=True,
    type=int,
    required=True,
    help="Number of the lock throw (repeat for more).",
)
@click.option("--left-pin", type=ANSWER, default="not looked", help="Left pin seen in its hole.")
@click.option("--right-pin", type=ANSWER, default="not looked", help="Right pin seen in its hole.")
@click.option("--seen-how", default="", metavar="TEXT", help="How the pins were seen: lamp, mirror, ...")
@click.option(
    "--load-check",
    type=click.Choice(list(LOAD_CHECK)),
    default="not done",
    help="The manufacturer's load check.",
)
@click.option(
    "--retained-power-off",
    type=click.Choice(list(RETAINED)),
    default="not tried",
    help="The pins stayed put with the power off.",
)
@click.option(
    "--left-photo",
    type=click.Path(path_type=Path),
    help="Photograph of the left pin: JPEG or PNG. It is no answer by itself.",
)
@click.option("--right-photo", type=click.Path(path_type=Path), help="Photograph of the right pin.")
@click.option(
    "--photo-time-known",
    is_flag=True,
    help="The photograph is the right one, though its clock is more than an hour from the throw.",
)
@reason_option("Reason for the correction of an earlier answer.")
@by_option
@click.pass_context
def see(ctx: click.Context, /, name: str, throws: tuple[int, ...], by: str | None, **given: Any) -> None:
    """Record what a person saw after lock throws of sheet NAME. A "no" takes the rig out of use at once.

    A photograph is kept beside the answer for its pin. It answers nothing. It may also come later, by itself.

    \b
    Examples:
      throwbook sheet see yard-loader-3 --throw 1 --throw 3 --left-pin yes --right-pin yes
          --seen-how "lamp, both sides" --load-check done --retained-power-off yes --by "M. K."
      throwbook sheet see yard-loader-3 --throw 1 --left-photo left.jpg --right-photo right.jpg
    """
    from throwbook.jobs.photographs import OtherTimeError
    from throwbook.jobs.sheets import photograph
    from throwbook.jobs.sheets import see as write

    pins = _pins(given)
    photos = {pin: given[f"{pin}_photo"] for pin in SIDES if given[f"{pin}_photo"] is not None}
    if not pins.at_anything and not photos:
        raise InputError("nothing was seen", name, "Give at least --left-pin and --right-pin.")
    book, by, at, known = logbook_of(ctx), who(by), now(), given["photo_time_known"]
    answered, raised = not pins.at_anything, 0
    while True:
        try:
            if answered:
                found = photograph(book, name, throws, photos, by, at, known)
            else:
                found, raised = write(book, name, throws, pins, by, at, given["reason"], photos, known)
            break
        except OtherTimeError as other:
            if not can_ask() or not click.confirm(
                f"{other.where}: {other.what}. Is it the right photograph?", default=False, err=True
            ):
                raise
            known = True
            answered = answered or pins.says_no  # a NO is recorded already
            raised = int(pins.says_no)
    output.line(f"{name}: recorded for {counted(len(throws), 'throw')}.")
    if photos:
        output.line(
            f"{counted(len(photos), 'photograph')} kept, without place data. A photograph is no sighting."
        )
    if raised:
        print_status(found.state.sheet.rig, found.status)


@click.command()
@click.argument("name")
@click.option("--left-pin", type=ANSWER, help="Left pin seen in its hole, after every lock throw.")
@click.option("--right-pin", type=ANSWER, help="Right pin seen in its hole, after every lock throw.")
@click.option("--seen-how", metavar="TEXT", help="How the pins were seen: lamp, mirror, ...")
@click.option(
    "--load-check",
    type=click.Choice(list(LOAD_CHECK)),
    help="The manufacturer's load check, after every lock throw.",
)
@click.option(
    "--retained-power-off", type=click.Choice(list(RETAINED)), help="The pins stayed put with the power off."
)
@click.option("--signed", metavar="NAME", help="Signed by: the person who looked at the pins.")
@click.option(
    "--shared-risk",
    type=click.Choice(["yes", "no"]),
    default="no",
    help="Accept readings inside a limit of the rating but closer to it than their ±. The chance of each is printed, 10 % at most [default: no].",
)
@click.option(
    "--doubts-because",
    default="",
    metavar="REASON",
    help="Reason to accept the sheet although its times are doubtful.",
)
@click.option(
    "--new-baseline", default="", metavar="REASON", help="Why this sheet's throws become the new baseline."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def accept(ctx: click.Context, /, name: str, as_json: bool, **given: Any) -> None:
    """Accept sheet NAME. Every answer must be there and the stored throws must meet the rules. If not, the sheet stays open.

    The answers count for each lock throw that has none yet. 'sheet see' records an answer for a single throw.

    \b
    Example:
      throwbook sheet accept yard-loader-3 --left-pin yes --right-pin yes --seen-how "lamp, both sides"
          --load-check done --retained-power-off yes --signed "M. K."
    """
    from throwbook.core.wording import SHOWN_AT
    from throwbook.jobs.sign_off import accept as sign

    read = False
    if can_ask():
        for text in SHOWN_AT["commissioning"]:
            output.line(text, style="warn")
        read = click.confirm(
            "Have you read these cautions, and will you follow them?", default=False, err=True
        )
        if not read:
            raise InputError("the cautions were not confirmed", name, "It stays open.")
    given["left_pin"] = needed(
        given["left_pin"], "--left-pin", "Left pin seen in its hole", ("yes", "no", "not looked")
    )
    given["right_pin"] = needed(
        given["right_pin"], "--right-pin", "Right pin seen in its hole", ("yes", "no", "not looked")
    )
    given["seen_how"] = needed(given["seen_how"], "--seen-how", "How seen")
    given["load_check"] = needed(
        given["load_check"], "--load-check", "The manufacturer's load check", tuple(LOAD_CHECK)
    )
    given["retained_power_off"] = needed(
        given["retained_power_off"],
        "--retained-power-off",
        "The pins stayed put with the power off",
        tuple(RETAINED),
    )
    signed = needed(given["signed"], "--signed", "Signed by (your name)")
    done = sign(
        logbook_of(ctx),
        name,
        _pins(given),
        signed,
        now(),
        given["new_baseline"],
        read,
        given["shared_risk"] == "yes",
        given["doubts_because"],
    )
    found = done.acceptance
    if as_json:
        output.json_line(
            {
                "sheet": done.state.name,
                "state": done.state.state,
                "statement": found.statement,
                "verdict": found.verdict,
                "because": list(found.because),
                "claims_lost": list(found.claims_lost),
                "not_proved": list(found.not_proved),
                "shared_risk": list(found.shared_risk),
                "alerts": list(found.alerts),
                "signed": signed,
                "sealed": done.state.sealed,
                "effect": done.effect or None,
                "status": done.status.level,
                "baselines": list(done.baselines),
            }
        )
        return
    output.line(f"{done.state.name}: accepted and sealed.", style="good")
    output.line(found.statement)
    if done.effect:
        output.line(done.effect)
    for text in blanks_said(found):
        output.line(text, style="warn")
    if done.baselines:
        output.line(
            f"Baseline set ({', '.join(done.baselines)}): later checks are compared with these throws."
        )
    if done.baseline_kept:
        output.line(
            f"The previous baseline stays in use: {done.baseline_kept} (--new-baseline).", style="quiet"
        )
    print_status(done.state.sheet.rig, done.status)


@click.command(short_help="Reject a sheet with a reason; it is sealed.")
@click.argument("name")
@click.option("--because", "--reason", "because", metavar="TEXT", help="What was wrong.")
@click.option("--signed", metavar="NAME", help="Signed by.")
@click.pass_context
def reject(ctx: click.Context, name: str, because: str | None, signed: str | None) -> None:
    """Reject sheet NAME with a reason. It is sealed unchanged. Plan another one.

    \b
    Example:
      throwbook sheet reject yard-loader-2 --because "right pin not seen at throw 3" --signed "M. K."
    """
    from throwbook.jobs.sign_off import reject as end

    because = needed(because, "--because", "What was wrong")
    state, found = end(
        logbook_of(ctx), name, because, needed(signed, "--signed", "Signed by (your name)"), now()
    )
    output.line(f"{state.name}: rejected and sealed.", style="bad")
    print_status(state.sheet.rig, found)


def _pins(given: dict[str, Any]) -> PinAnswers:
    return PinAnswers(
        given["left_pin"],
        given["right_pin"],
        given["seen_how"],
        LOAD_CHECK[given["load_check"]],
        RETAINED[given["retained_power_off"]],
    )
