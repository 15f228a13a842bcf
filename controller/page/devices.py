"""The devices that were paired with a folder's page, kept in a hidden file of the folder.

The file holds a digest of each device's token, never the token: who reads the file cannot come in with it.
"""

import hashlib
import hmac
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from controller.errors import InputError
from controller.files import write_whole
from controller.reading import FileKind, parse_json, read_text

PAGE_DEVICES = FileKind("a list of paired devices", 10**6, "Move it away, and pair the devices again.")
KEPT_FOR = timedelta(days=30)
MOST_DEVICES, MOST_NAME = 50, 40
DEVICES_VERSION = 1


class Device(BaseModel):
    """A paired device. Moments are UTC, ISO 8601."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    number: int = Field(ge=1, le=10**9)
    name: str = Field(min_length=1, max_length=MOST_NAME)
    token_sha256: str = Field(pattern="^[0-9a-f]{64}$")
    may_control: bool
    last_seen: datetime

    def has(self, token: str) -> bool:
        """Whether a token is this device's, compared in constant time."""
        return hmac.compare_digest(digest_of_token(token), self.token_sha256)


class Devices(BaseModel):
    """All devices of a folder, and the number of the one that holds the controls; None if none does."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal["fullturn-page-devices"] = "fullturn-page-devices"
    version: Literal[1] = 1
    holder: int | None = None
    devices: tuple[Device, ...] = ()

    def numbered(self, number: int | None) -> Device | None:
        """The device with a number; None if there is none."""
        return next((each for each in self.devices if each.number == number), None)

    def with_devices(self, devices: Sequence[Device]) -> "Devices":
        """The same with other devices; a holder that is gone holds nothing."""
        kept = tuple(devices)
        holder = self.holder if any(each.number == self.holder for each in kept) else None
        return self.model_copy(update={"devices": kept, "holder": holder})

    def seen_since(self, moment: datetime) -> "Devices":
        """Without those that were last seen more than 30 days before `moment`."""
        return self.with_devices([each for each in self.devices if moment - each.last_seen <= KEPT_FOR])


def digest_of_token(token: str) -> str:
    """SHA-256 of a token, as hex."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def load_devices(path: Path) -> Devices:
    """The devices kept in a file; none if there is no file. Raises InputError."""
    if not path.exists():
        return Devices()
    text = read_text(path, PAGE_DEVICES)
    content = parse_json(text, path, PAGE_DEVICES)
    version = content.get("version") if isinstance(content, dict) else None
    if type(version) is int and version > DEVICES_VERSION:
        raise InputError(
            f"{path}: is {PAGE_DEVICES.name} of version {version}, which is newer; this program reads version "
            f"{DEVICES_VERSION}. Use the version of Fullturn that wrote it, or move it away and pair the devices again."
        )
    try:
        return Devices.model_validate_json(text)
    except ValidationError as error:
        where = ".".join(str(part) for part in error.errors()[0]["loc"]) or "it"
        raise InputError(f"{path}: {where} is not as this program writes it. {PAGE_DEVICES.cure}") from None


def save_devices(devices: Devices, path: Path) -> None:
    """Write the file whole, readable to its owner only. Raises StorageFailed."""
    write_whole(path, devices.model_dump_json(indent=1) + "\n", replace=True, ours=is_own_devices, private=True)


def is_own_devices(path: Path) -> bool:
    """Whether a file is a list of devices of this program."""
    try:
        return load_devices(path) is not None
    except InputError:
        return False


KINDS = (
    *(("iPhone", "Phone"), ("iPad", "Tablet"), ("Android", "Phone"), ("Windows", "Computer"), ("Macintosh", "Computer")),
    ("Linux", "Computer"),
)
"""Parts of a browser's name for itself, and the kind of device; `Android` without `Mobile` is a tablet."""


def kind_of_device(user_agent: str) -> str:
    """A word for a device, from what its browser says of itself."""
    for part, kind in KINDS:
        if part in user_agent:
            return "Tablet" if part == "Android" and "Mobile" not in user_agent else kind
    return "Device"
