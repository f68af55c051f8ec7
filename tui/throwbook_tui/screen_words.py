"""What a job says for the command line, said for the screen: what to press, and where. Nothing of Textual.

A job names an option or a command in what it refuses, since it can't know who asked. Here each gets the words of the
screen; ``tests/tui/test_screen_words.py`` goes through every sentence of the jobs and holds that none is left out.
"""

import re

FIELDS = {
    "accuracy": "its accuracy",
    "action": "what was done",
    "all": "every order",
    "current-unit": "another current unit",
    "at": "time of the throw",
    "because": "the reason",
    "by": "your name (the field 'who does it' of a sheet's plan)",
    "cause": "what was seen",
    "cause-found": "cause found",
    "column": "column",
    "corrects": "the entry it corrects",
    "due": "next check on",
    "due-on": "next check on",
    "instrument": "reference meter",
    "meter": "meter shows now",
    "on": "day of the work",
    "new-baseline": "new baseline because",
    "order": "the order",
    "pair": "readings",
    "paper": "paper",
    "reason": "the reason",
    "rename": "the rig's other name",
    "seen-how": "how were they seen",
    "service": "service entry",
    "rate": "rate",
    "sheet": "sheet",
    "signed": "signed (your name)",
    "started": "the file's own start",
    "time-unit": "another time unit",
    "to": "the rig it is of",
    "voltage-unit": "another voltage unit",
}
"""Option: the field that asks for the same on the screen."""

SAID: tuple[tuple[str, str], ...] = (
    (r"Choose with --rate or --baud", "Set them on the board screen: B, then S"),
    (r"try --baud, or: throwbook board find", "F on the board screen finds the right one, S sets it"),
    (r"Try: throwbook board check", "C on the board screen checks it"),
    (r"(See the ports with: )?throwbook board find", "B, then F: the board screen asks at every port"),
    (r"(udge [a-z ]+): throwbook record --recover", r"\1: J on the rig's screen, or on the list of rigs"),
    (r"Try: throwbook board rehearse", "Try it again"),
    (r"a pin is still taken: throwbook sheet see", "a pin is still taken: L on the sheet"),
    (r"For example: --seen-how torch", "For example: torch, both sides"),
    (r"\(throwbook [a-z ]+\)|\(--reason\)", ""),
    (r"; and (\d+) more \('throwbook sheet show' lists them\)", r"; and \1 more (M on the sheet lists them)"),
    (r"('throwbook|See: throwbook) (sheet list|service list)'?( shows them| shows their names)?", "The rig's screen lists them"),
    (r"'throwbook sheet show' lists them", "The sheet lists them"),
    (r"'throwbook status' lists the open ones", "W on the rig's screen lists the open ones"),
    (r"'throwbook rig add FILE.toml' (starts|adds) one", r"N on the list of rigs \1 one"),
    (r", or give --logbook PATH", ""),
    (r"'throwbook rig fit' lists all", "E on the rig's screen shows all"),
    (r"'throwbook check' says how far", "'check' under L on the list of rigs says how far"),
    (r"'throwbook check'", "'check' under L on the list of rigs"),
    (r"'throwbook sheet rejudge' writes it again", "judging the sheet again from the command line writes it again"),
    (r"Import or enter a check first: throwbook import .*", "Make a check first: S on the rig's screen plans it."),
    (r'say why: --reason "new actuator"', 'write the reason, for example "new actuator"'),
    (r"(, or give| or give) --folder", r"\1 another folder"),
    (r"Choose another with --out", "Choose another name"),
    (r"give --clamp-accuracy", "give its accuracy"),
    (r"If they are new throws, say so with --again", "If they are new throws, write down one by one"),
    (r"; if the meter did show it, add --as-read", "; a reading that the meter did show is entered by command"),
    (r"'throwbook rig retire --back' brings it back", "It is brought back from the command line"),
    (r"is planned: throwbook sheet show \S+", "is planned: open it on the rig's screen"),
    (r"throwbook order clear( .*)?$", "W on the rig's screen"),
    (r"--rename OLD=NEW names one it has", "Choose a rig that it has"),
    (r"Try the other --reading", "Another way of reading is set on the command line"),
    (r"'throwbook ([a-z ]+)'", r"the command line ('\1')"),
)  # fmt: skip

_SAID = tuple((re.compile(found), said) for found, said in SAID)
_OPTION = re.compile(r"--([a-z][a-z-]*[a-z])\b")


def for_screen(text: str) -> str:
    """``text`` in the words of the screen; what names neither option nor command stays as it is."""
    if "--" not in text and "throwbook " not in text:
        return text
    for found, said in _SAID:
        text = found.sub(said, text)
    text = _OPTION.sub(lambda option: FIELDS.get(option[1], option[0]), text)
    return re.sub(r" +([.;,:]|$)", r"\1", text)
