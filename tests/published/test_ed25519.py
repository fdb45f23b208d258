"""Signatures against RFC 8032, section 7.1, "Test Vectors for Ed25519" (tests 1 to 3, SHA(abc))."""

from __future__ import annotations

import hashlib

import pytest
from pinfolio.loaders.keys.signing_key import (
    create_key,
    derive_public_key,
    format_fingerprint,
    is_signed,
    sign,
)

VECTORS = {
    "test 1": (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb88215"
        "90a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    "test 2": (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e4"
        "3e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    "test 3": (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b53"
        "8d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
    "test SHA(abc)": (
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        hashlib.sha512(b"abc").hexdigest(),
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9"
        "ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
    ),
}


@pytest.mark.parametrize(
    ("private", "public", "message", "signature"),
    [tuple(map(bytes.fromhex, vector)) for vector in VECTORS.values()],
    ids=VECTORS,
)
class TestVectors:
    def test_public_half(
        self, private: bytes, public: bytes, message: bytes, signature: bytes
    ) -> None:
        assert derive_public_key(private) == public

    def test_signing(self, private: bytes, public: bytes, message: bytes, signature: bytes) -> None:
        assert sign(private, message) == signature

    def test_verifying(
        self, private: bytes, public: bytes, message: bytes, signature: bytes
    ) -> None:
        assert is_signed(public, signature, message)
        assert not is_signed(public, signature, message + b"x")
        assert not is_signed(public, bytes([signature[0] ^ 1]) + signature[1:], message)
        assert not is_signed(derive_public_key(create_key()), signature, message)


def test_what_is_no_signature_or_no_key_is_not_signed() -> None:
    private, public, *_ = map(bytes.fromhex, VECTORS["test 1"])
    assert not is_signed(public, b"", b"")
    assert not is_signed(public, bytes(64), b"")
    assert not is_signed(b"too short", sign(private, b""), b"")


def test_fingerprint_is_the_start_of_sha256_in_base_32() -> None:
    """Base 32 of RFC 4648, section 6; worked here digit by digit instead of by the library."""
    public = bytes.fromhex(VECTORS["test 1"][1])
    number = int.from_bytes(hashlib.sha256(public).digest()[:10], "big")
    letters = "abcdefghijklmnopqrstuvwxyz234567"
    digits = "".join(letters[number >> 5 * place & 31] for place in reversed(range(16)))
    assert format_fingerprint(public).replace(" ", "") == digits
    assert [len(group) for group in format_fingerprint(public).split(" ")] == [4, 4, 4, 4]
