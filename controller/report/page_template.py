"""The templates of all pages that need no network."""

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined


def page_environment() -> Environment:
    """The templates of the report, which may include what is in static/; an undefined name raises."""
    return Environment(
        loader=ChoiceLoader([PackageLoader("controller.report", folder) for folder in ("templates", "static")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
