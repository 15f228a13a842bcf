"""`fullturn capture` and `resume`: the set on a real board, every exposure on the disk before and after it is made."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from controller import clock
from controller.capture.interrupts import Interrupts
from controller.capture.runner import Runner, RunResult
from controller.conformance.talk import Talk
from controller.errors import InputError, StorageFailed, WorldError
from controller.kit.kit import Kit
from controller.planning.plan import Plan, load_plan, plan_from
from controller.ports.find import wait_known_board
from controller.ports.serial_port import SerialPort
from controller.program.build import build_program
from controller.program.program import Program
from controller.report.summary import Summary, summarise
from controller.report.wording import counted, duration
from controller.session.session import Session
from protocol.messages import Capability, Welcome
from protocol.units import NS

KIND = "capture"


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at before anything moves: what, what was found, and whether the run may go on."""

    what: str
    found: str
    good: bool = True


@dataclass(frozen=True, slots=True)
class Crew:
    """Who stands beside the run: told of checks and of each exposure, and asked what only a person can answer.

    `confirm` is a question to be answered before the run goes on; `hold` asks for a frame taken by hand.
    """

    tell: Callable[[Check], None]
    confirm: Callable[[str], bool]
    count_down: Callable[[], None]
    begin: Callable[[int], Callable[[], None]]
    hold: Callable[[int, float, float], bool]


def capture_command(plan_path: Path, url: str, out: Path, crew: Crew) -> Summary:
    """Make the set of a plan and write its session to `out`. Raises InputError, WorldError, LinkLost, StorageFailed."""
    plan = load_plan(plan_path)
    if not plan.proof.covered:
        raise InputError(f"{plan_path}: this plan does not cover its region; plan it anew.")
    program = build_program(plan.kit, plan.frames)
    if out.exists():
        raise StorageFailed(f"{out} exists already; name another place, or go on with it by `fullturn resume`.")
    with SerialPort(url, plan.kit.board.baud) as port:
        _preflight(plan, program, port, crew)
        about = {
            "kind": KIND,
            "port": url,
            "plan": plan.model_dump_json(),
            "plan_hash": plan.hash,
            "began": clock.wall_time(),
        }
        with Session.create(out, about, durable=True) as session:
            return _run(plan, program, port, session, crew)


def resume_command(path: Path, url: str | None, crew: Crew) -> Summary:
    """Go on with a session: make what is neither confirmed nor assumed. Raises what `capture_command` raises."""
    with Session.open(path, to_write=True) as session:
        about = session.about()
        if about.get("kind") != KIND:
            raise InputError(f"{path}: is the record of a {about.get('kind', 'run')}, which cannot be resumed.")
        plan = plan_from(about["plan"], str(path))
        made = session.made()
        if plan.exposures <= made:
            return _summary(plan, session, RunResult(True, "The set was complete already.", 0, 0))
        program = build_program(plan.kit, plan.frames, made)
        with SerialPort(url or about["port"], plan.kit.board.baud) as port:
            _preflight(plan, program, port, crew)
            session.note_about(f"resumed {clock.wall_time()}", f"{len(made)} exposures made by then")
            return _run(plan, program, port, session, crew)


def _run(plan: Plan, program: Program, port: SerialPort, session: Session, crew: Crew) -> Summary:
    with Interrupts() as interrupts:
        on_exposure = crew.begin(len(program.exposures))
        runner = Runner(program, port, session, interrupts.next_wish, on_exposure, crew.hold, session.next_command_id())
        result = runner.run()
    session.note_end(result.sentence, complete=result.complete)
    session.note_about("ended", clock.wall_time())
    return _summary(plan, session, result)


def _summary(plan: Plan, session: Session, result: RunResult) -> Summary:
    return summarise(
        plan,
        session.shots(),
        kind=KIND,
        seed=None,
        run_complete=result.complete,
        sentence=result.sentence,
        seconds=result.seconds,
    )


def _preflight(plan: Plan, program: Program, port: SerialPort, crew: Crew) -> None:
    """Look at everything that can be looked at, ask for the rest, count down. Raises WorldError."""
    welcome = wait_known_board(port)
    Talk(port).wait_quiet(50)  # nothing of that conversation is left for the next
    checks = _checks(plan, program, welcome)
    for check in checks:
        crew.tell(check)
    bad = [check for check in checks if not check.good]
    if bad:
        raise WorldError(f"{bad[0].what}: {bad[0].found}; nothing was moved.")
    question = (
        "Have you walked the head round its extremes by hand, with camera and cables on, and is everything clear of it?"
    )
    if not crew.confirm(question):
        raise WorldError("Not begun: walk the head round its extremes by hand first (then --yes answers for you).")
    crew.count_down()


def _checks(plan: Plan, program: Program, welcome: Welcome) -> list[Check]:
    kit, proof = plan.kit, plan.proof
    fits = proof.worst_margin_deg >= proof.pointing_error_deg
    fastest = max(program.pan.speed_steps_s, program.tilt.speed_steps_s)
    contact = bool(welcome.capabilities & Capability.SYNC_CONTACT)
    flags = Capability.PAN_SWITCH | Capability.TILT_SWITCH
    flagged = welcome.capabilities & flags == flags
    frames, left = counted(len(plan.frames), "frame"), counted(len(program.exposures), "exposure")
    return [
        Check("plan", f"{frames}, proved; {left} to make"),
        Check(
            "pointing",
            f"survives {proof.worst_margin_deg:.2f}° of error, this head may be off by {proof.pointing_error_deg:.2f}°"
            + ("" if fits else ": neighbours may share a little less than asked"),
        ),
        Check("board", f"up to {welcome.max_step_rate} steps/s", welcome.max_step_rate >= fastest),
        Check("flags at zero", "on both axes" if flagged else "not on both axes", flagged),
        _contact_check(kit, contact),
        _energy_check(plan, program),
        Check("card", f"about {plan.budget.megabytes / 1000:.1f} GB for the whole set: see that it is free"),
    ]


def _contact_check(kit: Kit, fitted: bool) -> Check:
    if kit.board.sync_contact:
        return Check("sync contact", "fitted" if fitted else "the kit has one and the board has not", fitted)
    return Check("sync contact", "none: exposures will be assumed, not confirmed")


def _energy_check(plan: Plan, program: Program) -> Check:
    hours = program.expected_ns / NS / 3600
    need = hours * (plan.kit.power.head_watts + plan.kit.power.camera_watts)
    have = plan.kit.power.battery_watt_hours
    text = f"about {need:.1f} Wh in {duration(program.expected_ns / NS)}"
    if have is None:
        return Check("battery", text + "; the kit does not say what the battery holds")
    return Check("battery", f"{text} of {have:g} Wh", need <= have)
