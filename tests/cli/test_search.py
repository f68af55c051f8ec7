"""``search``, as the owner types it."""

import json

from tests.cli.sheet_steps import RIG


def test_words_are_found_and_shown_newest_first(run):
    for on, found in (("2026-03-02", "clevis pin sheared"), ("2026-03-05", "clevis pin worn")):
        run("service", "add", RIG, "--action", "repaired", "--on", on, "--seen", "slow", "--found", found)
    code, out, err = run("search", "Clevis", "pin")
    assert (code, err) == (0, "")
    assert [line.split()[:3] for line in out.splitlines()] == [
        ["day", "rig", "about"],
        ["2026-03-05", RIG, "service"],
        ["2026-03-02", RIG, "service"],
    ]
    _, out, _ = run("search", "--first", "1", "clevis")
    assert "2 texts in all: --first 2 shows them." in out
    _, out, _ = run("search", "--json", "sheared")
    record = json.loads(out)
    assert record | {"where": ""} == {
        "kind": "service",
        "rig": RIG,
        "where": "",
        "day": "2026-03-02",
        "text": "repaired; seen slow; found clevis pin sheared",
        "by": record["by"],
        "corrected": False,
    }


def test_nothing_found_says_what_to_try(run):
    code, out, _ = run("search", "unheard-of")
    assert code == 0
    assert out.startswith("No text in the logbook has these words.")


def test_what_cannot_be_looked_for_is_refused(run):
    code, _, err = run("search", "?!")
    assert code == 2
    assert "there is no word to look for" in err
    code, _, err = run("search", "--rig", "nowhere", "pin")
    assert code == 2
    assert "no rig 'nowhere'" in err
