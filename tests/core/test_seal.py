"""Canonical form, content ids and seals; the chain in a logbook is tested with it."""

import hashlib
from datetime import date

import pytest

from throwbook.core.assessment import Check
from throwbook.logbook.seals import canonical, content_id, seal_of


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


def test_a_seal_changes_with_its_content_and_with_the_seal_before_it():
    first = seal_of({"sheet": 1})
    assert seal_of({"sheet": 1}) == first
    assert seal_of({"sheet": 2}) != first
    assert seal_of({"sheet": 1}, first) != first
    assert seal_of({"sheet": 1}, "") == first


def test_dates_and_dataclasses_have_a_canonical_form_and_objects_have_none():
    assert canonical([date(2026, 3, 14), Check("x", None, 1.0, "max", "A", "practice", "pass")])
    with pytest.raises(TypeError, match="no canonical form"):
        canonical(object())
