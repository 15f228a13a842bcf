"""What every request of the page's forms has in common."""

from pydantic import BaseModel, ConfigDict


class AskedOnPage(BaseModel):
    """The body of a request: unknown keys are refused, and it does not change."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
