"""Pseudonyms: keyed, stable, the same as the standard library's HMAC."""

from __future__ import annotations

import hashlib
import hmac

from hypothesis import given
from hypothesis import strategies as st

from registry.identity import Pseudonyms


def test_pseudonym_of_rfc_4231_test_case_2():
    # RFC 4231, test case 2: key "Jefe", data "what do ya want for nothing?";
    # HMAC-SHA-256 = 5bdcc146bf60754e6a042426089575c7 5a003f089d2739839dec58b964ec3843.
    assert Pseudonyms(b"Jefe").of("what do ya want for nothing?") == "5bdcc146bf60754e6a042426089575c7"


@given(st.binary(min_size=1, max_size=100), st.text(max_size=40))
def test_pseudonym_is_hmac_sha_256_cut_to_128_bits(key: bytes, identifier: str):
    expected = hmac.new(key, identifier.encode("utf-8", "surrogatepass"), hashlib.sha256).hexdigest()[:32]
    try:
        identifier.encode()
    except UnicodeEncodeError:
        return
    assert Pseudonyms(key).of(identifier) == expected
