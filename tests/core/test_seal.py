"""Canonical form, content ids and the chain of seals."""

import hashlib

import numpy as np
import pytest

from logger.core.seal import Sealed, broken_seals, canonical, content_id, digest_of_trace, seal_of
from logger.core.trace import Trace


def chain(*contents: object) -> list[Sealed]:
    links: list[Sealed] = []
    before = ""
    for number, content in enumerate(contents):
        links.append(Sealed(str(number), content, before, seal_of(content, before)))
        before = links[-1].seal
    return links


def test_sha_256_gives_the_published_digest():
    # FIPS 180-4 example "abc" (NIST CSRC example values).
    assert (
        hashlib.sha256(b"abc").hexdigest()
        == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    assert content_id("abc") == hashlib.sha256(b'"abc"').hexdigest()


def test_the_order_of_keys_and_the_kind_of_sequence_do_not_matter():
    assert (
        canonical({"b": (1, 2), "a": None}) == canonical({"a": None, "b": [1, 2]}) == b'{"a":null,"b":[1,2]}'
    )


def test_nan_has_no_canonical_form():
    with pytest.raises(ValueError, match="not JSON compliant"):
        canonical({"current": float("nan")})


def test_an_unbroken_chain_has_nothing_to_say():
    assert broken_seals(chain("a", {"b": 2.5}, [3])) == []


def test_a_changed_sheet_is_named():
    links = chain("a", "b", "c")
    links[1] = Sealed("1", "B", links[1].before, links[1].seal)
    assert broken_seals(links) == ["sheet 1: changed after it was sealed"]


def test_a_sheet_taken_out_shows_in_the_next():
    links = chain("a", "b", "c")
    assert broken_seals([links[0], links[2]]) == [
        "sheet 2: the sheet sealed before it was changed, taken out or put in"
    ]


def test_one_sample_changed_changes_the_trace_digest():
    time = np.arange(3.0)
    one = Trace(time, np.array([1.0, 2.0, 3.0]), None, "lock")
    two = Trace(time, np.array([1.0, 2.0, np.nextafter(3.0, 4.0)]), None, "lock")
    assert digest_of_trace(one) != digest_of_trace(two)
