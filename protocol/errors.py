"""The two ways in which a conversation goes wrong: we broke the rules, or the other end did."""

from __future__ import annotations


class ProtocolError(Exception):
    """Base of both families; never raised itself."""


class WrongUse(ProtocolError):
    """Our own program broke the rules: a value that does not fit, an answer given twice. A bug of ours."""


class BadFrame(ProtocolError):
    """The bytes of the other end are wrong: damaged, unknown, or of the wrong length."""
