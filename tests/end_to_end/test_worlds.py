"""A rehearsal in a world other than the kit's shows what that world does to the set."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.capture.runner import Runner
from controller.commands.rehearse import Rehearsed, rehearse_command
from controller.commands.stand_in import rig_spec
from controller.planning.make import make_plan
from controller.planning.plan_file import save_plan
from controller.program.build import build_program
from controller.session.rows import ShotOutcome
from controller.session.session import Session
from sim.rig import Rig
from sim.scenario import Scenario
from sim.virtual_port import VirtualPort
from sim.world import KEYS, WorldValue
from tests.end_to_end.whole_runs import few_frames, kit_of

pytestmark = pytest.mark.usefixtures("undrawn")
KIT = kit_of(12.0, exposure={"shutter_seconds": 8.0})
FRAMES = 13
LOAD = "no_load_deg_s = 60\ninertia_kg_m2 = 0.02\n"
"""A load that a motor of 1 Nm turns with ease."""
ALL_MOVED = f"{FRAMES} exposures made while the picture moved"


@dataclass(frozen=True)
class Shown:
    """What a rehearsal showed; `longer_s` than the same one in the kit's own world."""

    rehearsed: Rehearsed
    longer_s: float
    opened_s: list[float]

    @property
    def complete(self) -> bool:
        return self.rehearsed.summary.complete

    @property
    def made(self) -> int:
        return self.rehearsed.summary.exposures_made

    def told(self, words: str) -> bool:
        return any(words in line.what for line in self.rehearsed.tale)


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Shown]:
    """Rehearses the plan in a world."""
    plan_path = tmp_path_factory.mktemp("plan") / "plan.json"
    plan = make_plan(KIT, 0.3)
    assert len(plan.frames) == FRAMES
    save_plan(plan, plan_path)

    def rehearsed(world: str) -> tuple[Rehearsed, list[float]]:
        folder = tmp_path_factory.mktemp("world")
        (folder / "world.toml").write_text(f"[world]\n{world}", encoding="utf-8")
        faults = str(folder / "world.toml")
        found = rehearse_command(plan_path, folder / "out", 1, lambda _: lambda: None, None, faults)
        truth = json.loads((folder / "out" / "truth.json").read_text(encoding="utf-8"))["exposures"]
        return found, [one["t_s"] for one in truth]

    plain_s = rehearsed("")[0].summary.virtual_seconds

    def of(world: str) -> Shown:
        found, opened_s = rehearsed(world)
        return Shown(found, found.summary.virtual_seconds - plain_s, opened_s)

    return of


WORLDS: dict[str, tuple[str, Callable[[Shown], bool]]] = {
    "a small card": ("card_exposures = 5", lambda it: not it.complete and it.made == 5),
    "an old battery": ("battery_exposures = 7", lambda it: not it.complete and it.made == 7),
    "a slow card": ("buffer_exposures = 2\nwrite_ms = 30000", lambda it: it.complete and it.longer_s > 100),
    "noise reduction": ("noise_reduction_s = 1", lambda it: it.complete and it.longer_s > 30),
    "no noise reduction up to 10 s": ("noise_reduction_s = 10", lambda it: it.complete and it.longer_s == 0),
    "a loose plug": ("misfire_share = 0.3", lambda it: it.complete and it.told("the camera did not answer")),
    "a hesitant shutter": ("lag_scatter_ms = 20", lambda it: it.complete and 0 < abs(it.longer_s) < 1),
    "a mirror": ("mirror_kick_deg_s = 2", lambda it: it.told(ALL_MOVED)),
    "a worn contact": ("bounce_ms = 8", lambda it: it.complete and len(it.opened_s) == FRAMES),
    "a gusty day": ("gusts_every_s = 10\ngust_peak_deg = 0.3", lambda it: it.told("made while the picture moved")),
    "a gear off its centre": ("wobble_deg = 0.5", lambda it: it.told("exposures off by up to 0.5")),
    "a loose switch": ("flag_scatter_deg = 0.2", lambda it: it.told("zero is not where it was")),
    "smooth ramps": ("jerk_deg_s3 = 20", lambda it: it.complete and it.longer_s > 5),
    "motors that do": (f"holding_nm = 1\n{LOAD}", lambda it: it.complete and not it.told("off by")),
    "gears with play": ("play_deg = 0.5", lambda it: it.told("zero is not where it was")),
    "a softer plate": ("ring_hz_share = 0.3", lambda it: it.told("made while the picture moved")),
    "a plate that softens upward": (
        "ring_hz_zenith_share = 0.2",
        lambda it: it.told("made while the picture moved") and not it.told(ALL_MOVED),
    ),
    "a plate that rings on": ("ring_damping_share = 0.05", lambda it: it.told("made while the picture moved")),
    "a plate of two parts": (
        "second_ring_hz = 2\nsecond_ring_damping = 0.02\nsecond_ring_gain = 0.5",
        lambda it: it.told(ALL_MOVED),
    ),
    "weak motors": (f"holding_nm = 0.01\n{LOAD}", lambda it: not it.complete),
    "a head out of balance": (f"holding_nm = 1\nimbalance_nm = 0.99\n{LOAD}", lambda it: not it.complete),
    "pan that ends early": ("pan_limits_deg = [-20, 100]", lambda it: not it.complete and it.told("limit switch")),
    "tilt that ends early": ("tilt_limits_deg = [-20, 20]", lambda it: not it.complete and it.told("limit switch")),
}


@pytest.mark.parametrize("name", WORLDS)
def test_a_rehearsal_shows_what_a_world_does(name: str, shown: Callable[[str], Shown]) -> None:
    world, wanted = WORLDS[name]
    found = shown(world)
    assert wanted(found), (found.longer_s, found.made, [line.text() for line in found.rehearsed.tale])
    assert [line.who for line in found.rehearsed.tale][: len(world.splitlines())] == ["world"] * len(world.splitlines())


def test_every_key_has_such_a_world() -> None:
    assert {line.split(" = ")[0] for world, _ in WORLDS.values() for line in world.splitlines()} == set(KEYS)


@st.composite
def worlds(draw: st.DrawFn) -> dict[str, WorldValue]:
    """Any keys with any values that a scenario may state."""
    chosen = set(draw(st.lists(st.sampled_from(sorted(KEYS)), min_size=1, max_size=4)))
    chosen |= {other for key in chosen for other in KEYS[key].needs}
    world: dict[str, WorldValue] = {}
    for key in sorted(chosen):
        kind = KEYS[key]
        numbers = st.integers(int(kind.least), int(kind.most)) if kind.whole else st.floats(kind.least, kind.most)
        near = st.just(kind.least) | st.floats(kind.least, min(kind.most, kind.least + 10))
        if kind.pair:
            low, high = sorted(draw(st.tuples(st.floats(-400, 0), st.floats(1, 400))))
            world[key] = (low, high)
        else:
            world[key] = draw(numbers if kind.whole else numbers | near)
    return world


@pytest.mark.long
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(world=worlds(), seed=st.integers(0, 1000))
def test_in_any_world_a_run_ends_and_claims_only_what_was_made(
    tmp_path_factory: pytest.TempPathFactory, world: dict[str, WorldValue], seed: int
) -> None:
    assert all(KEYS[key].mistake(value) is None for key, value in world.items())
    kit = kit_of(exposure={"bracket_ev": [0, 1]})
    rig = Rig(replace(rig_spec(kit, seed), scenario=Scenario("drawn", "", (), world=world)))
    folder = tmp_path_factory.mktemp("run")
    with Session.create(folder / "s.sqlite", {}, durable=False) as session:
        result = Runner(build_program(kit, few_frames()), VirtualPort(rig), session).run()
        claimed = Counter(
            (shot.intent.frame, shot.intent.exposure) for shot in session.shots() if shot.outcome is ShotOutcome.CONFIRMED
        )
    assert claimed <= Counter((one.frame, one.exposure) for one in rig.truth.exposures)
    assert result.complete or result.sentence.endswith(".")
