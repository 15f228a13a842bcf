"""What the page and the child that holds the head say to each other: one JSON object on each line.

Times are nanoseconds of the system's monotonic clock, which both processes share.
"""

import json
from typing import Annotated, Literal, Self, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, model_validator

from controller.capture.lease import Lease
from controller.capture.pad import SPEEDS
from controller.errors import InputError

LONGEST_LINE = 4096
"""Bytes; a longer line is refused."""
MOST = 2**62
Nanoseconds: TypeAlias = Annotated[int, Field(ge=0, le=MOST)]
Count: TypeAlias = Annotated[int, Field(ge=1, le=MOST)]
Way: TypeAlias = Literal[-1, 0, 1]
Only: TypeAlias = Literal[True]


class _Message(BaseModel):
    """A message; what is not part of it is refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


# From the child to the page.


class Said(_Message):
    """A sentence for people."""

    say: str


class Rung(_Message):
    """Call for attention."""

    ring: Only = True


class AskedAloud(_Message):
    """A question is open. `yesno` wants yes or no, `ready` only that the person is ready, `text` a line of text."""

    ask: str
    number: Count
    kind: Literal["yesno", "ready", "text"]


class WithdrawnQuestion(_Message):
    """The question with this number is open no more."""

    withdraw: Count


class ShownPlace(_Message):
    """Where the head is; yaw and pitch of the camera in degrees. None of it counts unless it is `known`."""

    yaw_deg: float
    pitch_deg: float
    pan_steps: int
    tilt_steps: int
    known: bool


class PlaceTold(_Message):
    """Where the head rests now."""

    place: ShownPlace


class TalkEnded(_Message):
    """The last message: why it ended, and the exit status: 0 done, 1 something failed, 2 wrong input."""

    end: str
    status: Literal[0, 1, 2]


# From the page to the child.


class AnswerGiven(_Message):
    """The answer to the question with this number: yes or no, or a line of text."""

    answer: Count
    yes: bool | None = None
    text: Annotated[str, Field(max_length=200)] | None = None


class LeaseFields(_Message):
    """A `Lease`."""

    press: Count
    number: Count
    pan: Way
    tilt: Way
    speed: Annotated[int, Field(ge=0, lt=len(SPEEDS))]
    renewed_ns: Nanoseconds


class LeaseSent(_Message):
    """The finger is on the pad."""

    lease: LeaseFields

    @property
    def value(self) -> Lease:
        """The lease."""
        return Lease(**self.lease.model_dump())


class ReleaseSent(_Message):
    """The finger of the press with this number was lifted."""

    release: Count


class StopSent(_Message):
    """Stop with a ramp."""

    stop: Only


class HaltSent(_Message):
    """Stop the pulses at once; where the head points is unknown afterwards."""

    halt: Only


class HereSent(_Message):
    """The person's device was heard of at this time."""

    here: Nanoseconds


class ZeroDeed(_Message):
    """Find zero; an axis without a switch has its zero where it is."""

    do: Literal["zero"]
    sent_ns: Nanoseconds


class StepDeed(_Message):
    """Turn one axis by one of the sizes of `jog`."""

    do: Literal["step"]
    pan: Way
    tilt: Way
    size: Annotated[int, Field(ge=0, le=3)]
    sent_ns: Nanoseconds

    @model_validator(mode="after")
    def _one_axis(self) -> Self:
        if abs(self.pan) + abs(self.tilt) != 1:
            raise ValueError("one axis")
        return self


class PoseDeed(_Message):
    """Turn the camera to a pose, degrees."""

    do: Literal["pose"]
    yaw_deg: Annotated[float, Field(ge=-720, le=720, strict=False)]
    pitch_deg: Annotated[float, Field(ge=-90, le=90, strict=False)]
    sent_ns: Nanoseconds


Deed: TypeAlias = ZeroDeed | StepDeed | PoseDeed
FromChild: TypeAlias = Said | Rung | AskedAloud | WithdrawnQuestion | PlaceTold | TalkEnded
ToChild: TypeAlias = AnswerGiven | LeaseSent | ReleaseSent | StopSent | HaltSent | HereSent | Deed
NOT_UNDERSTOOD = "It was not understood. Reload the page."
_TO_CHILD: TypeAdapter[ToChild] = TypeAdapter(ToChild)
_FROM_CHILD: TypeAdapter[FromChild] = TypeAdapter(FromChild)


def as_line(message: FromChild | ToChild) -> bytes:
    """The message as a line, with its end."""
    text = json.dumps(message.model_dump(exclude_none=True), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8", "replace") + b"\n"


def message_to_child(line: bytes) -> ToChild:
    """What a line tells the child. Raises InputError for anything that is no such message."""
    try:
        return _TO_CHILD.validate_json(line)
    except ValidationError:
        raise InputError(f"A message from the page was dropped. {NOT_UNDERSTOOD}") from None


def message_from_child(line: bytes) -> FromChild:
    """What a line tells the page. Raises InputError for anything that is no such message."""
    try:
        return _FROM_CHILD.validate_json(line)
    except ValidationError:
        raise InputError(f"A message about the head was dropped. {NOT_UNDERSTOOD}") from None
