"""Who may come in: keys that pair, devices that were paired, and which of them holds the controls.

One device at a time holds the controls. Another that may control takes them over openly: every page then shows a
sentence that says so.
"""

import asyncio
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from controller import clock
from controller.errors import InputError
from controller.page.devices import (
    MOST_DEVICES,
    MOST_NAME,
    Device,
    Devices,
    digest_of_token,
    kind_of_device,
    load_devices,
    save_devices,
)
from controller.page.keys import new_key, same_key
from controller.page.slowing import Slowing

TOKEN_BYTES = 32
LOOKED_AT = timedelta(hours=1)  # how old the note of when a device was last seen may get
LOOK_ON = "This device was paired to look on. Pair it again with the key to control."


class NotNow(Exception):
    """A guess that is not looked at yet; `wait_s` says how long."""

    def __init__(self, wait_s: float) -> None:
        super().__init__(f"Too many wrong keys. Wait {wait_s:.0f} s, then try again.")
        self.wait_s = wait_s


@dataclass(frozen=True, slots=True)
class PairingKeys:
    """The keys that are good now."""

    control: str
    see: str


class Access:
    """The keys, the devices and the controls of one page. Everything runs on the server's one thread."""

    def __init__(self, path: Path, *, now_ns: Callable[[], int] = clock.monotonic_ns) -> None:
        """Load the devices from `path`. Raises InputError."""
        self._path, self._now_ns = path, now_ns
        self._devices = load_devices(path).seen_since(clock.wall_moment())
        self._keys = PairingKeys(new_key(), new_key())
        self._guessed, self._taken_over = Slowing(), ""
        self._changed = asyncio.Event()
        self.tell_keys: Callable[[str], None] = lambda _: None
        """Called after a key was used, with a sentence that says for which device, to show the new ones."""

    @property
    def keys(self) -> PairingKeys:
        """The keys that are good now."""
        return self._keys

    @property
    def devices(self) -> Devices:
        """The devices, and which holds the controls."""
        return self._devices

    def pair(self, typed: str, user_agent: str, again: Device | None = None) -> str | None:
        """A device's token for a key; None if the key is wrong. Raises NotNow, StorageFailed.

        The key is good once. A device that may control takes the controls if nobody holds them. A device that is paired
        `again` keeps its number and its name, and may do what the new key says.
        """
        self._must_be_time()
        control, see = (same_key(typed, key) for key in (self._keys.control, self._keys.see))
        if not (control or see):
            self._guessed.count_wrong(self._now_ns())
            return None
        token = secrets.token_urlsafe(TOKEN_BYTES)
        added = self._added(token, user_agent, again, may_control=control)
        self._guessed.forget()
        self._keys = PairingKeys(new_key(), self._keys.see) if control else PairingKeys(self._keys.control, new_key())
        self.tell_keys(f"{added.name} was paired to {'control' if control else 'look on'}.")
        return token

    def _added(self, token: str, user_agent: str, again: Device | None, *, may_control: bool) -> Device:
        others = [each for each in self._devices.devices if again is None or each.number != again.number]
        kept = sorted(others, key=lambda each: each.last_seen)[-(MOST_DEVICES - 1) :]
        number = again.number if again is not None else max((each.number for each in others), default=0) + 1
        added = Device(
            number=number,
            name=again.name if again is not None else f"{kind_of_device(user_agent)} {number}",
            token_sha256=digest_of_token(token),
            may_control=may_control,
            last_seen=clock.wall_moment(),
        )
        devices = self._devices.with_devices([*kept, added])
        if not may_control and devices.holder == number:
            devices = devices.model_copy(update={"holder": None})
        if may_control and devices.holder is None:
            devices = devices.model_copy(update={"holder": number})
        self._keep(devices)
        return added

    def device_of(self, token: str) -> Device | None:
        """The device with a token; None if none has it. Raises StorageFailed.

        A wrong token does not make keys wait: a forgotten device in a drawer, which asks again and again, must keep
        nobody from pairing. A token has 256 bits; the guard logs wrong ones.
        """
        now = clock.wall_moment()
        for each in self._devices.seen_since(now).devices:
            if each.has(token):
                self._note_seen(each)
                return self._devices.numbered(each.number)
        return None

    def _note_seen(self, device: Device) -> None:
        now = clock.wall_moment()
        if now - device.last_seen > LOOKED_AT:
            self._replace(device.model_copy(update={"last_seen": now}))

    def holds(self, device: Device) -> bool:
        """Whether a device holds the controls."""
        return device.may_control and self._devices.holder == device.number

    def take(self, device: Device) -> None:
        """Give the controls to a device that may control. Raises InputError if it may not, StorageFailed."""
        if not device.may_control:
            raise InputError(LOOK_ON)
        before = self._devices.numbered(self._devices.holder)
        if before is not None and before.number == device.number:
            return
        self._keep(self._devices.model_copy(update={"holder": device.number}))
        at = f"{clock.local_time():%H:%M}"
        self._taken_over = f"{device.name} took the controls over from {before.name} at {at}." if before else ""
        self._tell_changed()

    def call_device(self, device: Device, name: str) -> None:
        """Rename a device. Raises InputError, StorageFailed."""
        name = name.strip()
        if not name or len(name) > MOST_NAME or not name.isprintable():
            raise InputError(f"A device's name has 1 to {MOST_NAME} printable characters. Type another name.")
        self._replace(device.model_copy(update={"name": name}))

    def forget_all(self) -> None:
        """Forget all devices: each must be paired again. Raises StorageFailed."""
        self._keep(Devices())

    def controls_words(self, device: Device) -> str:
        """A sentence for a device: who holds the controls, and who took them over."""
        holder = self._devices.numbered(self._devices.holder)
        who = "Nobody holds the controls." if holder is None else f"{holder.name} holds the controls."
        if holder is not None and holder.number == device.number:
            who = f"This device ({holder.name}) holds the controls."
        return f"{who} {self._taken_over}".strip()

    async def wait_change(self) -> None:
        """Wait until the controls or the names change."""
        await self._changed.wait()

    def _tell_changed(self) -> None:
        self._changed.set()
        self._changed = asyncio.Event()

    def _replace(self, device: Device) -> None:
        others = [device if each.number == device.number else each for each in self._devices.devices]
        self._keep(self._devices.with_devices(others))

    def _keep(self, devices: Devices) -> None:
        save_devices(devices, self._path)
        self._devices = devices
        self._tell_changed()

    def _must_be_time(self) -> None:
        if wait_ns := self._guessed.wait_left_ns(self._now_ns()):
            raise NotNow(max(1.0, wait_ns / 1e9))
