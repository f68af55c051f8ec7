"""What a mechanic types, step by step, for the tests of sheets, hand entry and the latch."""

import json
import re
from datetime import datetime
from pathlib import Path

from tests.command import command
from tests.keyboard import at_a_terminal, plain

RIG_FILE = Path(__file__).with_name("quarry-loader.toml")
RIG = "quarry-loader"
PAIR = [
    "lock 15.20s 2.10A 2.90A 12.40V both seen, load check done, stayed put",
    "unlock 14.60s 1.80A 2.40A 12.50V",
]
GOOD = "\n".join(PAIR * 5)
ONE_PIN = "\n".join([*PAIR, PAIR[0].replace("both seen", "left seen, right not seen"), PAIR[1], *PAIR * 3])
UNSEEN = GOOD.replace("both seen, load check done, stayed put", "")
TOLD = ["--hours-since", "16h", "--worked-before", "no", "--ambient", "4degC", "--operator", "M. K."]
SEEN = {
    "--left-pin": "yes",
    "--right-pin": "yes",
    "--seen-how": "torch, both sides",
    "--load-check": "done",
    "--retained-power-off": "yes",
    "--signed": "M. K.",
}


def enter(run, text: str, *more: str, kind: str = "commissioning"):
    """The throws are dated now, unless ``more`` says when, or "undated"."""
    dated = [] if {"--at", "undated"} & set(more) else ["--at", datetime.now().astimezone().isoformat()]
    more = tuple(word for word in more if word != "undated")
    words = ["enter", "--rig", RIG, "--kind", kind, "--paste", "--seen-how", "torch", "--by", "M. K."]
    return run(*words, *dated, *more, stdin=text)


def enter_again(run, text: str, *more: str, kind: str = "commissioning"):
    return enter(run, text, *more, "--again", kind=kind)


def accept(run, name: str, **changed: str | None):
    options = SEEN | {f"--{key.replace('_', '-')}": value for key, value in changed.items()}
    words = [word for option, value in options.items() if value is not None for word in (option, value)]
    return run("sheet", "accept", name, *words)


def status(run) -> dict:
    code, out, _ = run("status", RIG, "--json")
    assert code == 0
    return json.loads(out)


def service(run, **changed: str) -> str:
    given = {"seen": "short of its hole", "found": "bent pin", "fixed": "new pin"} | changed
    words = [word for name, value in given.items() for word in (f"--{name}", value)]
    code, out, err = run("service", "add", RIG, "--action", "repaired", "--by", "M. K.", *words)
    assert code == 0, err
    return re.search(r"Logged as (\w+)", out)[1]


def clear(run, **given: str):
    words = ["order", "clear", RIG, "--all", "--because", "repaired and proved", "--signed", "M. K."]
    return run(
        *words, *(word for name, text in given.items() for word in (f"--{name.replace('_', '-')}", text))
    )


def at_terminal(run, *words: str, typed: str) -> tuple[int, str]:
    """The command with a person at the keyboard: exit code and what the terminal showed."""
    code, shown = at_a_terminal(command(run.path, *words), typed)
    return code, plain(shown)
