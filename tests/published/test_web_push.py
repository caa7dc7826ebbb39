"""Sealing and signing against the examples of the RFCs.

RFC 8291 section 5 and Appendix A, RFC 8188 section 3.1 and RFC 8292 section 2.4. The values were
copied from test suites that quote these RFCs (four of them, alike), not from the RFCs' own pages.
"""

from __future__ import annotations

import json

import http_ece
import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from hypothesis import given
from hypothesis import strategies as st

from hivewatch.alerts import webpush
from hivewatch.alerts.webpush import bytes_of, text_of

# RFC 8291 Appendix A
PLAIN = b"When I grow up, I want to be a watermelon"
SENDER = bytes_of("yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw")
SENDER_POINT = (
    "BP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A8"
)
PHONE = bytes_of("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94")
PHONE_POINT = (
    "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
)
SALT = bytes_of("DGv6ra1nlYgDCS1FRnbzlw")
AUTH = bytes_of("BTBZMqHH6r4Tts7J_aSIgg")
BODY = (  # section 5
    "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS"
    "6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qu"
    "lcy4a-fN"
)
# RFC 8292 section 2.4
TOKEN = (
    "eyJ0eXAiOiJKV1QiLCJhbGciOiJFUzI1NiJ9.eyJhdWQiOiJodHRwczovL3B1c2guZXhhbXBsZS5uZXQiLCJleHAiOjE"
    "0NTM1MjM3NjgsInN1YiI6Im1haWx0bzpwdXNoQGV4YW1wbGUuY29tIn0.i3CYb7t4xfxCDquptFOepC9GAu_HLGkMlMu"
    "CGSK2rpiUfnK9ojFwDXb1JrErtmysazNjjvW2L9OkSSHzvoD1oA"
)
TOKEN_KEY = (
    "BA1Hxzyi1RUM1b5wjxsn7nGxAszw2u61m164i3MrAIxHF6YK5h4SDYic-dRuU_RCPCfA5aq9ojSwk5Y2EmClBPs"
)


def verify(token: str, point: str) -> dict[str, object]:
    """Check a token as a push service does; give its claims."""
    told, _, signature = token.rpartition(".")
    raw = bytes_of(signature)
    r, s = int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big")
    key = webpush.public_key(bytes_of(point))
    key.verify(encode_dss_signature(r, s), told.encode(), ec.ECDSA(SHA256()))
    return json.loads(bytes_of(told.partition(".")[2]))


def test_the_example_of_rfc_8291_is_sealed_byte_for_byte() -> None:
    sender = webpush.private_key(SENDER)
    assert text_of(webpush.point(sender)) == SENDER_POINT
    assert text_of(webpush.point(webpush.private_key(PHONE))) == PHONE_POINT
    sealed = webpush.seal(PLAIN, bytes_of(PHONE_POINT), AUTH, salt=SALT, sender=sender)
    assert text_of(sealed) == BODY


def test_keys_and_nonce_are_derived_as_in_rfc_8188_section_3_1() -> None:
    secret, salt = bytes_of("yqdlZ-tYemfogSmv7Ws5PQ"), bytes_of("I1BsxtFttlv3u_Oo94xnmw")
    key = webpush._derive(secret, salt, b"Content-Encoding: aes128gcm\0", 16)
    nonce = webpush._derive(secret, salt, b"Content-Encoding: nonce\0", 12)
    assert (text_of(key), text_of(nonce)) == ("_wniytB-ofscZDh4tbSjHw", "Bcs8gkIRKLI8GeI8")
    record = AESGCM(key).encrypt(nonce, b"I am the walrus\x02", None)
    assert text_of(record) == "-NAVub2qFgBEuQKRapoZu-IxkIva3MEB1PD-ly8Thjg"


@given(plain=st.binary(max_size=webpush.PLAIN_BYTES_MAX))
def test_another_implementation_opens_what_was_sealed(plain: bytes) -> None:
    """`http-ece` knows nothing of ours."""
    padding = webpush.padding_of(plain)
    sealed = webpush.seal(plain, bytes_of(PHONE_POINT), AUTH, padding=padding)
    assert len(sealed) <= webpush.RECORD_BYTES
    key = webpush.private_key(PHONE)
    assert http_ece.decrypt(sealed, private_key=key, auth_secret=AUTH) == plain


def test_what_does_not_fit_is_not_sealed() -> None:
    full = bytes(webpush.PLAIN_BYTES_MAX)
    assert len(webpush.seal(full, bytes_of(PHONE_POINT), AUTH)) == webpush.RECORD_BYTES
    with pytest.raises(ValueError, match="more than 3993"):
        webpush.seal(full, bytes_of(PHONE_POINT), AUTH, padding=1)


def test_the_token_of_rfc_8292_holds_under_its_key_and_no_other() -> None:
    claims = {
        "aud": "https://push.example.net",
        "exp": 1_453_523_768,
        "sub": "mailto:push@example.com",
    }
    assert verify(TOKEN, TOKEN_KEY) == claims
    with pytest.raises(InvalidSignature):
        verify(TOKEN, PHONE_POINT)


def test_ours_says_the_same_in_the_same_form() -> None:
    """The signature is another each time; all that it signs is the example's, byte for byte."""
    said = webpush.authorization(
        webpush.private_key(SENDER),
        "https://push.example.net/p/JzLQ3raZJfFBR0aqvOMsLrt54w4rJUsV",
        1_453_523_768 - webpush.EXPIRES_S,
        "mailto:push@example.com",
    )
    token, _, key = said.removeprefix("vapid t=").partition(", k=")
    assert token.rpartition(".")[0] == TOKEN.rpartition(".")[0]
    assert key == SENDER_POINT
    assert verify(token, key)["aud"] == "https://push.example.net"
