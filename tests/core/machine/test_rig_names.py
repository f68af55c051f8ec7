"""Names of rigs that a person could take for another rig, or for its status."""

import pytest

from throwbook.core.machine.rig_validation import complaint

KNOWN = ["yard-loader", "Fellside 2"]


@pytest.mark.parametrize(
    "name",
    [
        "Yard-Loader",
        "yard loader",
        "yard\N{NON-BREAKING HYPHEN}loader",
        "y\N{CYRILLIC SMALL LETTER A}rd-loader",
        "\N{FULLWIDTH LATIN SMALL LETTER Y}ard-loader",
        "fellside2",
        "in service",
        "loader, pins locked",
        "SAFE",
    ],
)
def test_a_name_that_could_be_mistaken_is_refused(name: str):
    assert complaint(name, KNOWN)


@pytest.mark.parametrize(
    "name", ["yard-loader", "yard-loader-2", "quarry-loader", "Radlader Süd", "лебёдка", "interlocked-1"]
)
def test_a_name_of_its_own_is_taken(name: str):
    assert complaint(name, KNOWN) == ""
