"""`fullturn capture` and `resume`: the set on a real board, every exposure on the disk before and after it is made."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from controller import clock
from controller.calibration.records import read
from controller.calibration.use import calibrated
from controller.capture.events import Kind, Wanted
from controller.capture.hand import Hand
from controller.capture.interrupts import Interrupts
from controller.capture.operator import Operator, as_wanted
from controller.capture.runner import Runner, RunResult
from controller.capture.tether import UsbCamera
from controller.commands.preflight import Check, calibration_checks, checks
from controller.conformance.talk import Talk
from controller.display import Display
from controller.errors import InputError, StorageFailed, WorldError
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.lock import lock_of, sole_use
from controller.planning.plan import Plan, load_plan, plan_from
from controller.ports.find import wait_known_board
from controller.ports.serial_port import SerialPort, resolve
from controller.program.build import build_program
from controller.program.program import AxisSetting, MoveStep, Program
from controller.report.summary import Summary, summarise
from controller.session.rows import CAPTURE
from controller.session.session import Session

SWEEP_SHARE = 1 / 3  # of the highest speed, while somebody watches the cables


@dataclass(frozen=True, slots=True)
class Crew:
    """Who stands beside the run: told of checks and of each exposure, and asked what only a person can answer.

    `confirm` is a question to be answered before the run goes on; `hold` asks for a frame taken by hand; `jog` lets the
    operator move the head to its mark, and is None where nobody is there to do so. `sweep`: first walk round the
    extremes.
    """

    tell: Callable[[Check], None]
    confirm: Callable[[str], bool]
    count_down: Callable[[], None]
    show: Callable[[Program, int, set[tuple[int, int]]], AbstractContextManager[Display]]
    hold: Callable[[int, float, float], bool]
    typed: Callable[[], str | None] = lambda: None
    jog: Callable[[Hand], None] | None = None
    sweep: bool = True
    tether: bool = False


@dataclass(frozen=True, slots=True)
class _Job:
    """One session being worked on."""

    plan: Plan
    session: Session
    port: SerialPort
    crew: Crew


@dataclass(frozen=True, slots=True)
class Made:
    """The account of a set, and whether somebody or something stopped it before it was through."""

    summary: Summary
    early: bool


def capture_command(
    plan_path: Path,
    url: str,
    out: Path,
    crew: Crew,
    kit_path: Path | None = None,
    wait: Callable[[], None] | None = None,
) -> Made:
    """Make the set of a plan and write its session to `out`. Raises InputError, WorldError, LinkLost, StorageFailed.

    `kit_path` is the kit as it is today, whose calibration is used; it must be the plan's but for what is measured.
    `wait` is called when all is ready, and returns when the set may begin.
    """
    plan = load_plan(plan_path)
    if not plan.proof.covered:
        raise InputError(f"{plan_path}: this plan does not cover its region; plan it anew.")
    measured: list[Check] = []
    if kit_path is not None:
        kit, records = load_kit(kit_path), read(kit_path)
        now = datetime.fromisoformat(clock.wall_time())
        measured = calibration_checks(kit, records, now)
        plan = _with_kit(plan, calibrated(kit, records, now), plan_path)
    program = build_program(plan.kit, plan.frames)
    if out.exists():
        raise StorageFailed(f"{out} exists already; name another place, or go on with it by `fullturn resume`.")
    about = {
        "kind": CAPTURE,
        "port": url,
        "plan": plan.model_dump_json(),
        "plan_hash": plan.hash,
        "began": clock.wall_time(),
    }
    begun = False
    with _alone(out, url), SerialPort(url, plan.kit.board.baud) as port:
        try:
            with Session.create(out, about, durable=True) as session:
                job = _Job(plan, session, port, crew)
                _preflight(job, program, measured)
                _make_ready(job, program)
                if wait is not None:
                    wait()
                    crew.count_down()
                begun = True
                return _run(job, program)
        finally:
            if not begun:
                with suppress(OSError):
                    out.unlink(missing_ok=True)  # nothing was made, so there is nothing to go on with


def resume_command(path: Path, url: str | None, crew: Crew) -> Summary:
    """Go on with a session: make what is neither confirmed nor assumed. Raises what `capture_command` raises."""
    with sole_use(lock_of(path), str(path), "fullturn resume"), Session.open(path, to_write=True) as session:
        about = session.about()
        if about.get("kind") != CAPTURE:
            raise InputError(f"{path}: is the record of a {about.get('kind', 'run')}, which cannot be resumed.")
        plan = plan_from(about["plan"], str(path))
        _take_old_wishes(session)
        made = session.made()
        if plan.exposures <= made and about.get("complete") == "yes":
            return _summary(plan, session, RunResult(True, "The set was complete already.", 0, 0))
        program = build_program(plan.kit, plan.frames, made)
        device = url or about["port"]
        with port_alone(device, "fullturn resume"), SerialPort(device, plan.kit.board.baud) as port:
            job = _Job(plan, session, port, crew)
            _preflight(job, program)
            _make_ready(job, program)
            session.note_about(f"resumed {clock.wall_time()}", f"{len(made)} exposures made by then")
            return _run(job, program).summary


def _with_kit(plan: Plan, kit: Kit, plan_path: Path) -> Plan:
    """The plan with the kit of today. Raises InputError where that is another kit."""
    planned, today = (one.model_dump(exclude={"head": MEASURED}) for one in (plan.kit, kit))
    for table in planned:
        if planned[table] != today[table]:
            raise InputError(f"{plan_path}: was planned for a kit with another [{table}] than this one; plan it anew.")
    return plan.model_copy(update={"kit": kit}).sealed()


# What a calibration may change.
MEASURED: dict[str, Any] = {
    "pan": {"backlash_deg", "measured_steps_per_degree"},
    "tilt": {"backlash_deg", "measured_steps_per_degree"},
    **dict.fromkeys(("ring_hz", "ring_damping", "settle_ms", "lean_deg", "lean_toward_deg"), True),
}


@contextmanager
def _alone(out: Path, url: str) -> Iterator[None]:
    with sole_use(lock_of(out), str(out), "fullturn capture"), port_alone(url, "fullturn capture"):
        yield


@contextmanager
def port_alone(url: str, purpose: str) -> Iterator[None]:
    """Be the only program on a port. Raises Taken, LinkLost."""
    with sole_use(lock_of(resolve(url)), f"The port {url}", purpose):
        yield


def _take_old_wishes(session: Session) -> None:
    """Frames that were wanted once more while nobody ran the session; other wishes were for a run that is over."""
    while (wish := session.take_wish()) is not None:
        wanted = as_wanted(wish)
        if wanted.kind is Kind.RETAKE:
            session.doubt_frames(wanted.frames)


def _run(job: _Job, program: Program) -> Made:
    session, crew = job.session, job.crew
    while True:
        result = _run_once(job, program)
        if not result.zero_lost or crew.jog is None:
            break
        # Somebody is there to set zero again; the run goes on with what is left.
        program = build_program(job.plan.kit, job.plan.frames, session.made())
        try:
            _make_ready(job, program)
        except WorldError as error:
            result = replace(result, sentence=str(error))
            break
    session.note_end(result.sentence, complete=result.complete)
    session.note_about("ended", clock.wall_time())
    return Made(_summary(job.plan, session, result), result.early)


def _run_once(job: _Job, program: Program) -> RunResult:
    port, session, crew = job.port, job.session, job.crew
    with (
        Interrupts() as interrupts,
        crew.show(program, port.now(), session.made()) as shown,
        UsbCamera() if crew.tether else nullcontext() as tether,
    ):
        operator = Operator(session, interrupts, port.now, crew.typed, shown.say)

        def next_wish() -> Wanted | None:
            shown.tick(port.now())
            return operator.next_wish()

        runner = Runner(
            program,
            port,
            session,
            next_wish,
            shown.exposed,
            crew.hold,
            session.next_command_id(),
            shown.change,
            tether,
        )
        shown.watch(runner)
        session.note_clock(port.now(), clock.wall_time())
        return runner.run()


def _summary(plan: Plan, session: Session, result: RunResult) -> Summary:
    return summarise(
        plan,
        session.shots(),
        session.doubts(),
        kind=CAPTURE,
        seed=None,
        run_complete=result.complete,
        sentence=result.sentence,
        seconds=result.seconds,
    )


def _preflight(job: _Job, program: Program, measured: Sequence[Check] = ()) -> None:
    """Look at everything that can be looked at and ask for the rest. Raises WorldError."""
    welcome = wait_known_board(job.port)
    Talk(job.port).wait_quiet(50)  # nothing of that conversation is left for the next
    found = [*checks(job.plan, program, welcome, job.session.path), *measured]
    for check in found:
        job.crew.tell(check)
    bad = [check for check in found if not check.good]
    if bad:
        raise WorldError(f"{bad[0].what}: {bad[0].found}; nothing was moved.")
    question = "Is the head level, the camera locked, and nobody and nothing within reach of what turns?"
    if not job.crew.confirm(question):
        raise WorldError("Not begun: see to that first (then --yes answers for you); nothing was moved.")


def _make_ready(job: _Job, program: Program) -> None:
    """Set zero where no switch finds it, and walk round the extremes. Raises WorldError, LinkLost."""
    head = job.plan.kit.head
    by_hand = not (head.pan.zero_switch and head.tilt.zero_switch)
    if not by_hand and not job.crew.sweep:
        job.crew.count_down()
        return
    with Interrupts() as interrupts:
        hand = Hand(job.port, slowed(program), interrupts.next_wish)
        job.crew.count_down()
        hand.wait_ready()
        if by_hand:
            _set_zero(job, hand)
        if job.crew.sweep:
            _sweep(job, hand, program)
        hand.wait_move(0, 0)
        hand.wait_rest()


def _set_zero(job: _Job, hand: Hand) -> None:
    """Zero where the operator says it is, unless the board still knows it from before."""
    if hand.known:
        return
    if job.crew.jog is not None:
        job.crew.jog(hand)
    elif not job.crew.confirm("Does the head stand at its zero mark?"):
        raise WorldError("Zero is not set: move the head to its mark with `fullturn jog`, then go on.")
    hand.wait_ready()
    hand.wait_zero()


def _sweep(job: _Job, hand: Hand, program: Program) -> None:
    moves = [step for step in program.steps if isinstance(step, MoveStep)]
    if not moves:
        return
    if not hand.known:
        hand.wait_zero()
    pans, tilts = [step.pan_steps for step in moves], [step.tilt_steps for step in moves]
    left, right, low, high = min(0, *pans), max(0, *pans), min(0, *tilts), max(0, *tilts)
    for pan, tilt in ((left, 0), (left, low), (right, low), (right, high), (left, high), (0, 0)):
        hand.wait_move(pan, tilt)
    if not job.crew.confirm(
        "The head has been round its extremes. Was everything clear, cables and tripod legs included?"
    ):
        raise WorldError("Not begun: clear the way first; only this slow walk was moved.")


def slowed(program: Program) -> Program:
    """The same head, with a third of its speed."""

    def slow(axis: AxisSetting) -> AxisSetting:
        return replace(axis, speed_steps_s=max(1, round(axis.speed_steps_s * SWEEP_SHARE)))

    return replace(program, pan=slow(program.pan), tilt=slow(program.tilt))
