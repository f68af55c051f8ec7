"""The one form of JSON, content ids and seals; the chain in a logbook is tested with it."""

import hashlib

import pytest

from throwbook.logbook.schema import to_json
from throwbook.logbook.seals import content_id, seal_of


def test_sha_256_gives_the_published_digest():
    # FIPS 180-4 example "abc" (NIST CSRC example values).
    assert (
        hashlib.sha256(b"abc").hexdigest()
        == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    assert content_id("abc") == hashlib.sha256(b'"abc"').hexdigest()


def test_the_order_of_keys_and_the_kind_of_sequence_do_not_matter():
    assert to_json({"b": (1, 2), "a": None}) == to_json({"a": None, "b": [1, 2]}) == '{"a":null,"b":[1,2]}'


def test_nan_has_no_canonical_form():
    with pytest.raises(ValueError, match="not JSON compliant"):
        to_json({"current": float("nan")})


def test_a_seal_changes_with_its_content_and_with_the_seal_before_it():
    first = seal_of({"sheet": 1})
    assert seal_of({"sheet": 1}) == first
    assert seal_of({"sheet": 2}) != first
    assert seal_of({"sheet": 1}, first) != first
    assert seal_of({"sheet": 1}, "") == first
