"""Web Push: a message sealed for one browser alone, and signed as ours (RFC 8291, 8188, 8292).

Both are a few lines over `cryptography`; the tests hold them to the RFCs' own examples and open
what was sealed with another implementation.
"""

from __future__ import annotations

import json
import os
from base64 import urlsafe_b64decode, urlsafe_b64encode
from pathlib import Path
from urllib.parse import urlsplit

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from hivewatch.errors import StoreError

KEY_FILE = "push.secret"
RECORD_BYTES = 4096  # published: RFC 8030 section 7.2, what every push service takes
PLAIN_BYTES_MAX = 3993  # published: RFC 8291 section 4, what then is left for the message
SALT_BYTES = 16  # published: RFC 8188 section 2.1
AUTH_BYTES = 16  # published: RFC 8291 section 3.2
KEY_BYTES = 32  # published: of P-256, FIPS 186-5
PAD_BYTES = 256  # own choice: so that a length tells little of what is the matter
EXPIRES_S = 12 * 3600  # [s] own choice; RFC 8292 section 2 allows 24 h

_CURVE = ec.SECP256R1()


def text_of(raw: bytes) -> str:
    """Write bytes in base64url without padding (RFC 4648 section 5)."""
    return urlsafe_b64encode(raw).rstrip(b"=").decode()


def bytes_of(text: str) -> bytes:
    """Read base64url, padded or not."""
    return urlsafe_b64decode(text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4))


def private_key(raw: bytes) -> ec.EllipticCurvePrivateKey:
    """Make a key of its 32 bytes; a `ValueError` says that they are none."""
    if len(raw) != KEY_BYTES:
        raise ValueError("not 32 bytes")
    return ec.derive_private_key(int.from_bytes(raw, "big"), _CURVE)


def public_key(raw: bytes) -> ec.EllipticCurvePublicKey:
    """Read a point of P-256, uncompressed; a `ValueError` says that it is none."""
    return ec.EllipticCurvePublicKey.from_encoded_point(_CURVE, raw)


def point(key: ec.EllipticCurvePrivateKey) -> bytes:
    """Give the public half of a key, uncompressed."""
    return key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def own_key(store: Path) -> ec.EllipticCurvePrivateKey:
    """Read our key beside the store; where there is none, it is made, for its owner alone to read.

    Raises
    ------
    StoreError
        If the file holds no key, or cannot be read or made.
    """
    file = store.with_name(KEY_FILE)
    try:
        if not file.exists():
            _make_key(file)
        return private_key(bytes_of(file.read_text("ascii").strip()))
    except OSError as error:
        raise StoreError(
            str(file), "", f"cannot be used ({error.strerror})", "let hivewatch read and write it"
        ) from None
    except ValueError:
        raise StoreError(
            str(file), "", "holds no key", "delete it; phones then have to be asked again"
        ) from None


def _make_key(file: Path) -> None:
    """Write a new key whole before it has its name: two processes may ask at the same moment."""
    scalar = ec.generate_private_key(_CURVE).private_numbers().private_value
    new = file.with_name(f"{file.name}.{os.getpid()}.{os.urandom(4).hex()}")
    with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as opened:
        opened.write(text_of(scalar.to_bytes(KEY_BYTES, "big")))
    try:
        os.link(new, file)
    except FileExistsError:
        pass  # the other one's counts
    except OSError:
        new.replace(file)  # a file system without links, as sticks have
    finally:
        new.unlink(missing_ok=True)


def seal(
    plain: bytes,
    phone: bytes,
    auth: bytes,
    *,
    salt: bytes | None = None,
    sender: ec.EllipticCurvePrivateKey | None = None,
    padding: int = 0,
) -> bytes:
    """Seal a message for the holder of a subscription: one record of `aes128gcm`.

    Parameters
    ----------
    plain : bytes
        At most `PLAIN_BYTES_MAX` with its padding.
    phone, auth : bytes
        The subscription's public key (65 bytes) and its secret (16 bytes).
    salt, sender : bytes, EllipticCurvePrivateKey
        New ones for each message, but in a test.
    padding : int
        How many zeros follow the message.

    References
    ----------
    RFC 8291 sections 3.3 and 3.4; RFC 8188 sections 2.1 to 2.3.
    """
    if len(plain) + padding > PLAIN_BYTES_MAX:
        raise ValueError(f"more than {PLAIN_BYTES_MAX} bytes")
    salt = salt or os.urandom(SALT_BYTES)
    sender = sender or ec.generate_private_key(_CURVE)
    shared = sender.exchange(ec.ECDH(), public_key(phone))
    ours = point(sender)
    secret = _derive(shared, auth, b"WebPush: info\0" + phone + ours, 32)
    key = _derive(secret, salt, b"Content-Encoding: aes128gcm\0", 16)
    nonce = _derive(secret, salt, b"Content-Encoding: nonce\0", 12)
    record = AESGCM(key).encrypt(nonce, plain + b"\x02" + bytes(padding), None)
    return salt + RECORD_BYTES.to_bytes(4, "big") + bytes([len(ours)]) + ours + record


def padding_of(plain: bytes) -> int:
    """Say how many zeros bring a message to the next full length."""
    return min(-len(plain) % PAD_BYTES, PLAIN_BYTES_MAX - len(plain))


def authorization(
    key: ec.EllipticCurvePrivateKey, endpoint: str, now_s: int, contact: str | None = None
) -> str:
    """Write the header by which a push service knows us (RFC 8292 sections 2 and 3).

    Parameters
    ----------
    endpoint : str
        Of the subscription; the token names its origin alone.
    now_s : int
        The time of the world, not of a demo. [s]
    contact : str or None
        Where the service's people find us: `mailto:` or `https:`.
    """
    parts = urlsplit(endpoint)
    claims: dict[str, object] = {"aud": f"https://{parts.netloc}", "exp": now_s + EXPIRES_S}
    if contact is not None:
        claims["sub"] = contact
    head = {"typ": "JWT", "alg": "ES256"}
    told = ".".join(
        text_of(json.dumps(one, separators=(",", ":")).encode()) for one in (head, claims)
    )
    r, s = decode_dss_signature(key.sign(told.encode(), ec.ECDSA(SHA256())))
    signature = r.to_bytes(KEY_BYTES, "big") + s.to_bytes(KEY_BYTES, "big")  # RFC 7518 section 3.4
    return f"vapid t={told}.{text_of(signature)}, k={text_of(point(key))}"


def _derive(secret: bytes, salt: bytes, info: bytes, length: int) -> bytes:
    return HKDF(SHA256(), length, salt, info).derive(secret)
