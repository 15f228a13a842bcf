"""A camera over USB that reports its files: an exposure is confirmed when its photograph has arrived.

Uses the general library gphoto2 and its Python binding, an optional extra. The board still releases the shutter; no
setting of the camera is changed.
"""

from pathlib import PurePosixPath
from types import TracebackType
from typing import Any, Protocol, Self

from controller.errors import WorldError
from controller.extras import importing
from protocol.units import NS

PATIENCE_NS = 20 * NS  # for a large file over a slow cable. Common practice, no source


class Tether(Protocol):
    """What a run needs of a tethered camera."""

    def new_files(self) -> list[str]:
        """Names of photographs that have arrived since the last call; never waits. Raises WorldError."""


class UsbCamera:
    """The one camera that is plugged in."""

    def __init__(self) -> None:
        with importing("tether", "--tether"):
            import gphoto2  # noqa: PLC0415
        self._library: Any = gphoto2
        self._camera = gphoto2.Camera()
        self._seen: set[str] = set()
        try:
            self._camera.init()
        except gphoto2.GPhoto2Error as error:
            raise WorldError(f"no camera answers over USB ({error}); plug it in, switch it on, unmount it.") from None

    def __enter__(self) -> Self:
        self.new_files()  # files from before belong to no exposure
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self._camera.exit()

    def new_files(self) -> list[str]:
        """Names of photographs that have arrived since the last call; raw and JPEG of one exposure count once."""
        names: list[str] = []
        try:
            while True:
                kind, data = self._camera.wait_for_event(0)
                if kind == self._library.GP_EVENT_TIMEOUT:
                    return names
                if kind == self._library.GP_EVENT_FILE_ADDED:
                    path = PurePosixPath(data.folder) / data.name
                    if str(path.with_suffix("")) not in self._seen:
                        self._seen.add(str(path.with_suffix("")))
                        names.append(str(path))
        except self._library.GPhoto2Error as error:
            raise WorldError(f"the camera is gone from USB ({error}); check the cable, then go on.") from None
