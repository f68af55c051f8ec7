"""What to type or press, in the words of the screen. Nothing of Textual.

An error names its field and its remedy; the screen has a table for each. A few sentences that are no errors still name
an option or a command: ``for_screen`` says those.
"""

import re

from throwbook.errors import Remedy, ThrowbookError, plain

FIELDS = {
    "accuracy": "its accuracy",
    "action": "what was done",
    "at": "time of the throw",
    "because": "the reason",
    "cause": "what was seen",
    "corrects": "the entry it corrects",
    "due": "next check on",
    "found-on": "found on",
    "fixed-on": "fixed on",
    "instrument": "reference meter",
    "on": "day of the work",
    "order": "the order",
    "pair": "readings",
    "paper": "paper",
    "reason": "the reason",
    "seen-how": "how seen",
    "seen-on": "seen on",
    "service": "service entry",
    "signed": "signed by",
    "verified-on": "verified on",
}
"""Field of an error: what the screen calls it. One that isn't here is asked by the command line only."""

REMEDIES = {
    Remedy.ADD_CHECK: "Make a check first: S on the rig's screen plans it.",
    Remedy.ADD_RIG: "N on the list of rigs adds one.",
    Remedy.AS_READ: "If the meter really showed it, enter it from the command line.",
    Remedy.BRING_BACK: "It is brought back from the command line.",
    Remedy.CHECK_BOARD: "C on the board screen checks it.",
    Remedy.CHECK_LOGBOOK: "'check' under L on the list of rigs shows how far it is off and whose it is.",
    Remedy.ENTER_AGAIN: "If they are new throws, enter them one by one.",
    Remedy.FIND_BOARD: "B, then F: the board screen searches every port.",
    Remedy.JUDGE_AGAIN: "'check' under L on the list of rigs judges them again.",
    Remedy.JUDGE_FIRST: "Judge it first: J on the rig's screen, or on the list of rigs.",
    Remedy.LIST_ALL: "E on the rig's screen shows all.",
    Remedy.LIST_OPEN: "W on the rig's screen lists the open ones.",
    Remedy.LIST_SERVICES: "The rig's screen lists them.",
    Remedy.LIST_SHEETS: "The rig's screen lists them.",
    Remedy.OTHER_FILE: "Choose another name.",
    Remedy.OTHER_FOLDER: "Or choose another folder.",
    Remedy.SAY_NO: "Only a NO at a pin is still taken: L on the sheet.",
    Remedy.SAY_WHY: 'If it should stand for that one, write the reason, for example "new actuator".',
    Remedy.SET_RATE: "Set them on the board screen: B, then S.",
    Remedy.SHOW_SHEET: "The sheet lists them.",
    Remedy.START_LOGBOOK: "N on the list of rigs starts one.",
    Remedy.TRY_BAUD: "F on the board screen finds the right one, S sets it.",
    Remedy.STEPS_TO_CLEAR: "To clear 'do not use': write down the cause, log the repair, commission again in full, then sign. W on the rig's screen shows the steps.",
}
"""What the screen says for a remedy. One that isn't here is of a command only, and said by its plain name."""


def spoken(error: ThrowbookError) -> str:
    """The line of an error, its field and its remedy as the screen says them."""
    return error.said(
        lambda field: FIELDS.get(field, field), lambda remedy: REMEDIES.get(remedy) or plain(remedy)
    )


SAID: tuple[tuple[str, str], ...] = (
    (r"(udge [a-z ]+): throwbook record --recover", r"\1: J on the rig's screen, or on the list of rigs"),
    (r"; and (\d+) more \('throwbook sheet show' lists them\)", r"; and \1 more (M on the sheet lists them)"),
    (r"\(--new-baseline\)", "(new baseline because)"),
    (r" \(--shared-risk yes\)", ""),
    (r"'throwbook check'", "'check' under L on the list of rigs"),
    (r"'throwbook sheet rejudge' writes it again", "judging the sheet again from the command line writes it again"),
    (r"is planned: throwbook sheet show \S+", "is planned: open it on the rig's screen"),
    (r"throwbook order clear( .*)?$", "W on the rig's screen"),
    (r"'throwbook ([a-z ]+)'", r"the command line ('\1')"),
)  # fmt: skip

_SAID = tuple((re.compile(found), said) for found, said in SAID)


def for_screen(text: str) -> str:
    """``text`` in the words of the screen; what names neither option nor command stays as it is."""
    if "--" not in text and "throwbook " not in text:
        return text
    for found, said in _SAID:
        text = found.sub(said, text)
    return text
