"""The product isn't cut finer than it is, and a class name stands for one thing."""

from pathlib import Path

import pytest

from tests.house import class_names, file_names, files_to_open, importers, product_sources
from tests.ways import WAYS, Watch, how_forms

FILES_AT_MOST = 263
FILES_TO_OPEN_AT_MOST = {"a sign": 5, "a column": 7, "a word": 1, "a section of a report": 2}
FUNCTIONS_AT_MOST = {
    "a sample, from the port": 18,
    "a sighting, from the option": 6,
    "a sighting, from the key": 9,
}

# name: how many classes are called so. A row goes when its classes get names of their own; none is added.
NAMES_FOR_MORE_THAN_ONE_THING = {"Field": 2, "Sheet": 2}


def test_the_product_has_no_more_files_than_it_needs():
    assert len(product_sources()) <= FILES_AT_MOST


def test_no_class_name_is_used_for_two_things_unless_listed():
    counts = {name: len(places) for name, places in class_names(product_sources()).items()}
    more = {
        name: count for name, count in counts.items() if count > NAMES_FOR_MORE_THAN_ONE_THING.get(name, 1)
    }
    assert more == {}
    assert counts.keys() == NAMES_FOR_MORE_THAN_ONE_THING.keys(), "a name that is mended leaves the list"


def test_the_counts_see_names_that_occur_twice_and_who_imports_whom():
    sources = {
        Path("logger/a/one.py"): "class Row:\n    class Inner: ...\n",
        Path("logger/a/two.py"): "from a.one import Row\nclass Inner: ...\n",
        Path("logger/b/one.py"): "def f():\n    from a import two\nclass Row: ...\n",
    }
    assert class_names(sources) == {"Row": ["logger/a/one.py", "logger/b/one.py"]}
    assert file_names(sources) == {"one.py": ["logger/a", "logger/b"]}
    assert importers(sources) == {"a.one": {"a.two"}, "a.two": {"b.one"}, "b.one": set()}


def test_a_change_opens_no_more_files_than_it_did():
    counts = {what: len(where) for what, where in files_to_open(product_sources()).items()}
    assert {what: count for what, count in counts.items() if count > FILES_TO_OPEN_AT_MOST[what]} == {}


@pytest.mark.parametrize("name", WAYS)
def test_a_value_passes_no_more_functions_than_it_did(name: str, tmp_path: Path):
    assert len(set(WAYS[name](tmp_path))) <= FUNCTIONS_AT_MOST[name]


def test_a_value_that_never_came_has_no_way():
    watch = Watch(how_forms, lambda form: True)
    with watch.on():
        files_to_open({})
    with pytest.raises(LookupError):
        watch.way()
