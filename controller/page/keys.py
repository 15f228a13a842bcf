"""One-time keys that pair a device: one to control, one that only shows.

A key has ten characters of 31: 49 bits. None of them is easily taken for another (no 0 and o, no 1, i and l).
"""

import hmac
import secrets

ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
LENGTH, GROUP = 10, 5


def new_key() -> str:
    """A random key as it is typed, like `abcde-fgh23`."""
    text = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
    return f"{text[:GROUP]}-{text[GROUP:]}"


def plain(typed: str) -> str:
    """A key as typed, without blanks and hyphens, in lower case."""
    return "".join(each for each in typed[:100].lower() if each not in " -\t")


def same_key(typed: str, key: str) -> bool:
    """Whether a typed text is the key, compared in constant time."""
    return hmac.compare_digest(plain(typed).encode("utf-8", "replace"), plain(key).encode())
