"""What one page is made of; every view gets it."""

from dataclasses import dataclass, field
from functools import cache
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from controller.page.access import Access
from controller.page.devices import Device
from controller.page.kit_desk import KitDesk
from controller.page.planner import Planner
from controller.page.refusing import Refusals
from controller.page.served import ServedFolder
from controller.page.streams import Streams
from controller.page.work import Jobs

VIEWS = (
    ("now", "/", "Now"),
    ("plan", "/plan", "Plan"),
    ("set-up", "/set-up", "Set up"),
    ("sessions", "/sessions", "Sessions"),
)
"""The four views: name, path and label, in the order of the navigation."""


@dataclass(frozen=True, slots=True)
class Page:
    """The folder that is served, who may come in, and what the page was asked for and refused."""

    folder: ServedFolder
    access: Access
    hosts: frozenset[str]
    """The values of Host that are ours, like `127.0.0.1:8360`."""
    refusals: Refusals
    cookie: str = "fullturn"
    """The name of the cookie. Cookies are shared by all ports of a host, so the server adds its port to it."""
    head_port: str = ""
    """The head's port that was given at the start, to offer where one is asked for; "" if none was."""
    streams: Streams = field(default_factory=Streams)
    planner: Planner = field(default_factory=Planner)
    kits: KitDesk = field(default_factory=KitDesk)
    jobs: Jobs = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "jobs", Jobs(self.folder.root))

    def file_link(self, folder: str, name: str) -> str:
        """The address of a file in a folder of the folder, such as a report's page."""
        return f"/file/{quote(folder, safe='')}/{quote(name, safe='')}"

    def show(
        self, request: Request, template: str, view: str, *, script: str | None = None, **values: object
    ) -> HTMLResponse:
        """A view's page. `view` is its name in VIEWS, and `script` that of its module in `static/` if it differs."""
        device = device_of(request)
        text = (
            templates()
            .get_template(template)
            .render(
                view=view,
                script=script or view,
                views=VIEWS,
                device=device,
                controls=self.access.controls_words(device),
                holds=self.access.holds(device),
                **values,
            )
        )
        return HTMLResponse(text)


@cache
def templates() -> Environment:
    """The templates; an undefined name raises, and every value is escaped."""
    return Environment(
        loader=PackageLoader("controller.page"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )


def device_of(request: Request) -> Device:
    """The device that asks. The guard let nothing through without one."""
    device: Device = request.state.device
    return device
