"""No text the tool can show may claim what only a person's eyes can: that pins are "locked", "engaged", or "safe".

Every string in logger/ and tui/ is read from the syntax tree: literals, f-strings, and the docstrings of command functions
(they are help texts). Templates beside the code are read whole. What is allowed stands in ``REVIEWED`` with its reason.
"""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests import wording as wording_texts
from tests.house import product_sources

TOP = Path(__file__).parent.parent
CLAIMS = re.compile(r"\b(locked|unlocked|engaged|safe|safely|safety)\b", re.IGNORECASE)
SHOWN_DOCSTRINGS = ("cli",)
TEMPLATES = (".html", ".txt", ".tcss", ".css", ".svg", ".j2")

# phrase: why it may stand. A phrase is taken out of a string before the string is searched.
REVIEWED: dict[str, str] = {
    "half-locked attachment": "names the hazard itself",
    "safety circuits": "names a kind of wiring that belongs to qualified people",
    r"\b(locked|engaged|safe|": "what no rig may be called (rig_names); compared with, not shown",
    "database is locked": "what the database says when another program holds it; compared with, not shown",
}


def texts(source: str, docstrings_shown: bool) -> Iterator[tuple[int, str]]:
    """Line and text of every string in ``source`` that a person might read."""
    nodes = list(ast.walk(ast.parse(source)))
    hidden = set()
    for node in nodes:
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body
            shown = docstrings_shown and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
            for number, one in enumerate(body):
                bare = isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant)
                if bare and not (shown and number == 0):
                    hidden.add(id(one.value))
    for node in nodes:
        if isinstance(node, ast.JoinedStr):
            parts = [p.value if isinstance(p, ast.Constant) else "{}" for p in node.values]
            hidden.update(id(p) for p in node.values if isinstance(p, ast.Constant))
            yield node.lineno, "".join(map(str, parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in hidden:
            yield node.lineno, node.value


def claims_in(text: str) -> list[str]:
    for phrase in REVIEWED if CLAIMS.search(text) else ():  # most texts hold no such word at all
        text = re.sub(re.escape(phrase), " ", text, flags=re.IGNORECASE)
    return CLAIMS.findall(text)


def claims_in_source(source: str, docstrings_shown: bool = False) -> list[tuple[int, str]]:
    return [(line, text) for line, text in texts(source, docstrings_shown) if claims_in(text)]


def test_no_string_claims_what_only_eyes_can():
    assert [where for where in product_texts() if claims_in(where[-1])] == []


def test_no_template_claims_what_only_eyes_can():
    found = {
        str(path.relative_to(TOP)): claims_in(path.read_text("utf-8"))
        for part in ("logger", "tui")
        for path in (TOP / part).rglob("*")
        if path.suffix in TEMPLATES
    }
    assert {name: words for name, words in found.items() if words} == {}


@pytest.mark.parametrize(
    "source",
    [
        'say("pins locked")',
        'x = f"rig {name} is SAFE"',
        'table = {"a": ("both pins engaged",)}',
        'y = ("it is now "\n     "safe to lift")',
        'def command():\n    """Show that the pins are engaged."""',
    ],
)
def test_the_search_finds_a_claim_wherever_it_hides(source: str):
    assert len(claims_in_source(source, docstrings_shown=True)) == 1


@pytest.mark.parametrize(
    "source", ['"lock"', '"spacing_locked"', 'f"{throws} lock throws"', '"""Module: locked."""']
)
def test_the_search_leaves_directions_keys_and_comments_alone(source: str):
    assert claims_in_source(source) == []


# ---- one name for each thing: ``core/wording.py`` ----

WORDING = Path("logger/throwbook/core/wording.py")
# the one name: what else it was called.
OTHER_NAMES: dict[str, str] = {
    "travel time": r"\btravel time over expected time\b|volts and amperes ask for|voltage and current ask for",
    "running current": r"\brun current\b|\bthe running one\b|current while it moves evenly",
    "peak running current": r"\bpeak (after|while|in|of) the (run|start)|\bpeak (while running|after inrush|run current)\b"
    r"|\bhighest (running )?current\b(?! after the inrush)|\bhighest after the start\b",
    "inrush current": r"\bstart-up (peak|surge|current)\b",
    "stall current": r"\bcurrent at (standstill|stall level)\b|\bstandstill \{",
    "full-load current": r"\brated maximum\b|\brated current\b|(^|[ {])rated \{",
    "voltage under load": r"\bsupply under load\b|\bmean voltage\b|\bvoltage while it runs\b|\brunning voltage\b",
    "supply resistance": r"\bresistance of the supply\b|\bsource resistance\b|\bresistance upstream\b",
    "take-up point": r"\bload taken up at\b",
    "current noise": r"\bscatter of the current\b",
    "spread of the running current": r"\bspread of running current\b",
    "signs": r"\bwhat was noticed\b|^noticed$",
    "moved (with the power off)": r"(?-i:\bLET GO\b)|\bpins (let|to let) go\b",
    "manufacturer": r"\bmaker's\b|\b(the|machine) maker\b",
    "lamp": r"\btorch\b",
    "voltmeter": r"\bvolt meter\b",
    "power supply": r"\bwhat (feeds|fed) it\b",
    "operator": r"\bwho (does|did) it\b",
}


@cache
def product_texts() -> list[tuple[Path, int, str]]:
    """File, line and text of every string that a person may read."""
    return [
        (path, line, text)
        for path, source in product_sources().items()
        for line, text in texts(source, any(part in SHOWN_DOCSTRINGS for part in path.parts))
    ]


def other_names_in(text: str) -> list[str]:
    return [
        name
        for name, pattern in OTHER_NAMES.items()
        if re.search(pattern, " ".join(text.split()), re.IGNORECASE)
    ]


def test_a_thing_has_no_other_name_in_the_product():
    faults = [
        (where, line, names, text)
        for where, line, text in product_texts()
        if where != WORDING and (names := other_names_in(text))
    ]
    assert faults == []


@pytest.mark.parametrize(
    "text", ["peak after the start", "above the rated maximum", "run current", "rated {} A"]
)
def test_the_search_finds_another_name(text: str):
    assert other_names_in(text)


def test_every_table_of_names_is_complete():
    from dataclasses import fields

    from tests.sign_names import EVERY
    from throwbook.core import assessment, wording
    from throwbook.core.machine.limits import LIMITS
    from throwbook.core.records import ANSWERS, SEEN, Sighting
    from throwbook.core.sheets.conditions import Conditions
    from throwbook.core.sheets.hand_readings import STOPPED_SHORT
    from throwbook.core.status.latch import CAUSES
    from throwbook.core.trend.signals import BASELINE, IN_CONTROL, LOW, OUT, SUSPECT
    from throwbook.files.rig_file import SECTIONS

    assert list(wording.FIGURES) == [each.name for each in fields(assessment.Figures)]
    assert {key: name.side for key, name in wording.LIMITS.items()} == {
        key: rule.side for key, rule in LIMITS.items()
    }
    assert [key for key, name in wording.LIMITS.items() if name.figure.unit != LIMITS[key].unit] == []
    assert set(wording.ENDS) == {*assessment.ENDS, STOPPED_SHORT}
    assert set(wording.SIGNS) == EVERY
    assert set(wording.VERDICTS) == {*assessment.VERDICTS, "not judged"}
    assert set(wording.VERDICT_TONES) == set(assessment.VERDICTS)
    assert set(wording.ORDER_CAUSES) == set(CAUSES)
    assert tuple(wording.SIGHTINGS) == tuple(wording.ANSWERS) == SEEN
    assert set(SEEN) < {each.name for each in fields(Sighting)}
    assert {tuple(answers) for answers in wording.ANSWERS.values()} == {ANSWERS}
    assert list(wording.CONDITIONS) == [each.name for each in fields(Conditions)]
    assert set(wording.TREND_STATES) == {BASELINE, IN_CONTROL, SUSPECT, OUT, LOW}
    assert set(wording.RIG) == {f"{part}.{key}" for part, rows in SECTIONS.items() for key, *_ in rows}


# ---- every text that a person meets: ``tests/wording.py`` ----

GRADE = 8.0
LONGEST = 25
# phrase: what to write instead. Hand-made, from sentences that had to be read twice.
PHRASES: dict[str, str] = {
    r"\bstands? in for\b": "replaces",
    r"\bspeaks? (for|of)\b": "covers, proves",
    r"\breckon": "calculate",
    r"\banew\b": "again",
    r"\beach by itself\b": "one at a time",
    r"\bbeyond (belief|chance)\b": "far outside any possible reading; more than normal variation",
    r"\b(goes|go|taken|takes?|raised?) (it |the rig )?up at once\b|\brig up\b": "the status is tightened at once",
    r"\b(brings?|comes?) (it |the rig )?down\b|(?<!all )(?<!all the )\bway (down|back)\b": "eased by a signed clearance",
    r"\bbring .{1,12} down\b|\bholds? the rig\b|\bwhat holds\b": "open orders",
    r"\b(cycle|limit|law|cable|sheet|current|voltage|throw|kind|load|rating) asks? for\b": "calls for",
    r"\b(heavier|lighter)\b": "more, less current or friction",
    r"\bfleet\b": "rigs",
    r"\b(held|holds?|hold) against\b": "compared with",
    r"\bcuts? (it )?off\b": "stopped by itself, dropped out",
    r"\b(stood|stands?) still\b|\bstanding motor\b|\bmotor (stands|stood)\b": "stalled, does not move",
    r"\bno better (than|because|as)\b": "at best",
    r"\d samples a second\b": "samples per second",
    r"\b(volts?|voltage) lost\b|\blost upstream\b": "voltage drop",
    r"\b(needed|rated) push\b|\bpush (needed|(that )?the)\b|\bbears? (the|of|in)\b": "force; withstand",
    r"\blimits? of (the|this|its|a) rig's own\b": "this rig's own limit",
    r"\bn = ?\d+ could\b|\bcould show\b": "too few throws to show a difference",
    r"\bmake-up\b": "make, model, serial no.",
    r"\b(by|of) (its|their|his) own hand\b|\ba digit (chooses|answers)\b": "press a number",
    r"\bhealthy\b": "baseline throw, no signs",
    r"\b(write|writes|wrote|written) (it |them |that )?down\b": "record",
    r"\bwhat it costs\b|\bcosts this sheet\b": "the sheet can no longer be accepted",
    r"\bdon't know of each other\b": "entered separately",
    r"\bdoesn't clear\b": "does not count",
    r"\b(gray|color|colors|center|behavior|fiber|liter)\b": "British spelling: grey, colour, centre",
}


def faults_in(text: wording_texts.Text) -> list[str]:
    """What makes a text hard to read, or calls a thing by another name."""
    found = [f"grade {text.grade:.1f}"] if text.grade > GRADE else []
    for said in text.sentences:
        if wording_texts.words(said) > LONGEST:
            found.append(f"{wording_texts.words(said)} words: {said}")
        found += [f"write {good!r}: {said}" for bad, good in PHRASES.items() if re.search(bad, said, re.I)]
        found += [f"its name is {name!r}: {said}" for name in other_names_in(said)]
    return found


def test_every_text_is_easy_to_read_and_calls_each_thing_by_its_name():
    faults = {name: faults_in(text) for name, text in wording_texts.texts().items()}
    assert {name: found for name, found in faults.items() if found} == {}


def test_every_kind_of_text_has_its_reader():
    kinds = (
        "README.md",
        "firmware-sketches/",
        "logger/",
        "help ",
        "manual",
        "screens ",
        "papers ",
        "assess ",
        "strings ",
    )
    texts = wording_texts.texts()
    assert [kind for kind in kinds if not any(name.startswith(kind) for name in texts)] == []
    assert sum(len(text.sentences) for text in texts.values()) > 3000


def test_the_grade_is_that_of_the_formula():
    # 0.39 words a sentence + 11.8 syllables a word - 15.59 (Kincaid et al. 1975): 2 sentences, 12 words, 15 syllables
    text = wording_texts.Text("", ("Look at the left pin now.", "The motor reads the supply voltage."))
    assert text.grade == pytest.approx(0.39 * 6 + 11.8 * 15 / 12 - 15.59, abs=0.06)


@pytest.mark.parametrize(
    ("reader", "given", "wanted"),
    [
        ("markdown", "# Head\n\nOne idea. `throwbook x` does it.\n\n    code here. Not read.\n", ["One idea.", "Code does it."]),
        ("markdown", "| a | b |\n|---|---|\n| 3.6 A | This cell says enough. |\n", ["This cell says enough."]),
        ("markdown", "- Item one is\n  continued here.\n- Item two.\n", ["Item one is continued here.", "Item two."]),
        ("paper", "Throw | time\nA plain line of it.\n3.60 A\n", ["A plain line of it."]),
        ("strings", 'x = "no label"\ny = f"{a} is above {b}, so stop it now."\n', ["9 is above 9, so stop it now."]),
        ("screen", " A row that goes on over the whole width of the screen and\n then ends here.\n\n 1 on x", ["A row that goes on over the whole width of the screen and then ends here."]),
    ],
)  # fmt: skip
def test_a_reader_finds_the_sentences_and_nothing_else(reader: str, given: str, wanted: list[str]):
    read = wording_texts.text("", getattr(wording_texts, reader)(given))
    assert list(read.sentences) == wanted


@pytest.mark.parametrize(
    "said",
    [
        "The trace is held against the baseline.",
        "Take the rig up at once.",
        "A load that is heavier than before.",
        " ".join(["word"] * 26) + ".",
        "It is above the rated maximum.",
    ],
)
def test_a_fault_of_a_sentence_is_found(said: str):
    assert faults_in(wording_texts.Text("", (said, *["Look at both pins."] * 30)))
