"""The form of a plan, as options of `fullturn plan`. Their values are judged there, by the same rules."""

from typing import Annotated

from pydantic import Field

from controller.errors import InputError
from controller.page.asked import AskedOnPage

VALUES = (
    "overlap", "region", "pitch-from", "pitch-to", "yaw-from", "yaw-to", "row-pitch", "floor", "order", "arrangement",
    "effort", "passes", "passes-within", "mounted", "resolution", "print-width-cm", "max-frames", "max-seconds",
)  # fmt: skip
FLAGS = ("nadir-by-hand", "allow-unreachable")
LONGEST = 80  # characters of a value


class PlanAsked(AskedOnPage):
    """A kit's name, and options by name; a flag is true or absent."""

    kit: Annotated[str, Field(max_length=300)]
    options: dict[str, Annotated[str, Field(max_length=LONGEST)] | bool]

    def arguments(self) -> list[str]:
        """The options as arguments, each value joined to its name, so that none can be taken for an option.

        Raises InputError for an option that is not in the form.
        """
        found = []
        for name, value in self.options.items():
            if name in FLAGS and isinstance(value, bool):
                found += [f"--{name}"] if value else []
            elif name in VALUES and isinstance(value, str):
                found += [f"--{name}={value.strip()}"] if value.strip() else []
            else:
                raise InputError("The page sent an option that is not in its form. Load the page again.")
        return found


class SaveAsked(PlanAsked):
    """The same, and the name of the plan file; empty for one that the program gives."""

    name: Annotated[str, Field(max_length=200)] = ""


class RehearseAsked(AskedOnPage):
    """A plan to rehearse, with the faults of a scenario, or none."""

    plan: Annotated[str, Field(max_length=300)]
    faults: Annotated[str, Field(max_length=100)] = ""
