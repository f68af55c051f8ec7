"""The examples in the docstrings are true. Only modules that hold one are read for them: collecting all takes longer."""

import doctest
import importlib

import pytest

from tests.house import module_name, product_sources

WITH_EXAMPLES = sorted(module_name(path) for path, source in product_sources().items() if ">>> " in source)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_the_examples_of_a_module_are_true(name):
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0
    assert found.failed == 0
