"""File names in the letters of an older computer: what is in such a file is stored all the same."""

import os
import sys

import pytest

odd_names = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a file's name is Unicode")
MARK = "\N{REPLACEMENT CHARACTER}"


def odd(name: str) -> str:
    """The name as Linux gives it to a program when it was written in Latin-1."""
    return os.fsdecode(name.encode("latin-1"))
