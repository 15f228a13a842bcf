"""The two kinds of protocol error: we broke the rules, or the other end did."""

from __future__ import annotations


class ProtocolError(Exception):
    """Base of both families; never raised itself."""


class WrongUse(ProtocolError):
    """Our own program broke the rules: a value that does not fit, a request answered twice. Always a bug."""


class BadFrame(ProtocolError):
    """The bytes from the other end are wrong: damaged, unknown, or of the wrong length."""
