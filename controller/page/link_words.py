"""What the terminal shows: the links with their keys, a QR code, and the cautions."""

import io

import segno

from controller.page.access import PairingKeys

QUIET_MODULES = 4  # ISO/IEC 18004, 6.3.8: the quiet zone of a QR code
ALL_MAY_READ = (
    "Plain http: everybody on this network can read what the page sends, and could misuse it. Use a network of your own, "
    "such as your phone's hotspot."
)
NOT_A_STOP = (
    "The page is not an emergency stop: motor power needs a switch of its own. Before anything moves, clear the head's "
    "sweep; makers' handbooks, local rules and licensed practice come first."
)


def pairing_link(address: str, port: int, key: str) -> str:
    """A link with the key behind the #, which browsers send to nobody."""
    return f"http://{address}:{port}/pair#{key}"


def qr_code(link: str) -> str:
    """The link as a QR code for a terminal, with its quiet zone."""
    drawn = io.StringIO()
    segno.make(link, error="m", micro=False).terminal(drawn, border=QUIET_MODULES, compact=True)
    return drawn.getvalue()


def keys_text(keys: PairingKeys, addresses: list[str], port: int, *, with_code: bool) -> str:
    """The sentences that show the keys that are good now, for every address."""
    lines = []
    for use, key in (("To control", keys.control), ("To look on", keys.see)):
        lines.append(f"{use}, open one of these, or type the key {key} (good once):")
        lines += [f"  {pairing_link(address, port, key)}" for address in addresses]
        if with_code and key == keys.control:
            lines.append(qr_code(pairing_link(addresses[0], port, key)))
    return "\n".join(lines)
