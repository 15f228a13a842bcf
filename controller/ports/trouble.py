"""Why a line or an address cannot be used, in our own words instead of the system's or a library's."""

import errno
import socket
from collections.abc import Iterator

WORDS: dict[int, str] = {
    errno.ENOENT: "there is no such port: plug it in, or look with `fullturn board find`",
    errno.ENODEV: "there is no such port: plug it in, or look with `fullturn board find`",
    errno.ENXIO: "there is no such port: plug it in, or look with `fullturn board find`",
    errno.EACCES: "you have no permission to use it: on Linux, join the group that owns the port, often `dialout`",
    errno.EPERM: "you have no permission to use it",
    errno.EBUSY: "another program uses it: end that first",
    errno.EAGAIN: "another program uses it: end that first",
    errno.EWOULDBLOCK: "another program uses it: end that first",
    errno.ENOTTY: "it is no serial port: name another one",
    errno.EINVAL: "it is no serial port, or does not have this speed: name another one, or another baud rate",
    errno.EISDIR: "it is a folder: name a port",
    errno.EIO: "it does not work any more: check the cable",
    errno.ENAMETOOLONG: "no port has a name that long",
    errno.ECONNREFUSED: "nothing listens there: start the program that serves it, and check the port number",
    errno.ECONNRESET: "the other end hung up: see what happened there",
    errno.EPIPE: "the other end hung up: see what happened there",
    errno.ETIMEDOUT: "nobody answers there: check the address and the network",
    errno.EHOSTUNREACH: "it cannot be reached from here: check the address and the network",
    errno.ENETUNREACH: "it cannot be reached from here: check the address and the network",
    errno.ENETDOWN: "the network is down",
    errno.EADDRINUSE: "another program serves there: end that, or choose another port",
    errno.EADDRNOTAVAIL: "this computer does not have that address: give one of its own, or 127.0.0.1",
    errno.EAFNOSUPPORT: "this computer has no addresses of that kind switched on",
}
UNKNOWN = "the system refuses it: check the name, the cable, and that no other program uses it"
PRIVILEGED = 1024  # below, many systems let only their administrator serve (RFC 6335, section 6: system ports)


def words_of(error: BaseException) -> str:
    """The reason as part of a sentence that ends with what to do. It also looks at the error's causes."""
    for each in _chain(error):
        if isinstance(each, socket.gaierror | UnicodeError):
            return "no computer of that name is known: check its spelling and the network"
        if isinstance(each, TimeoutError):
            return WORDS[errno.ETIMEDOUT]
        number = each.args[0] if each.args else None  # also for termios.error, which is no OSError
        if isinstance(number, int) and number in WORDS:
            return WORDS[number]
    return UNKNOWN


def _chain(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def cannot_serve(error: OSError | UnicodeError, port: int) -> str:
    """The reason why `port` cannot be served at, as part of a sentence."""
    if isinstance(error, OSError) and error.errno in {errno.EACCES, errno.EPERM} and 0 < port < PRIVILEGED:
        return f"ports below {PRIVILEGED} are for the administrator: choose a higher one"
    return words_of(error)
