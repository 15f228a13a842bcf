"""`fullturn capture` and `resume`: the set on a real board, every exposure on the disk before and after it is made."""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from controller import clock
from controller.calibration.records import read
from controller.calibration.use import calibrated
from controller.capture.events import Wanted
from controller.capture.gate import Gate
from controller.capture.people import YesNoQuestion
from controller.capture.runner import Runner, RunResult
from controller.capture.tether import UsbCamera
from controller.commands.crew import Crew, Job, PortOpener, job_of
from controller.commands.moving import make_ready
from controller.commands.preflight import LEAST_FREE_BYTES, Check, calibration_checks, checks
from controller.errors import InputError, StorageFailed, WorldError
from controller.files import remove_file
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.kit.own_head import must_be_own_head
from controller.lock import lock_of, sole_use
from controller.places import must_be_free
from controller.planning.plan import Plan, lean_sentence, load_plan, plan_from, proof_at, with_proof
from controller.planning.reached import poses_of
from controller.ports.find import wait_known_board
from controller.ports.serial_port import SerialPort, resolve
from controller.program.build import build_program
from controller.program.program import Program
from controller.report.summary import Summary, account_of
from controller.session.rows import CAPTURE, Word
from controller.session.session import Session


@dataclass(frozen=True, slots=True)
class SetAccount:
    """The account of a set, and whether somebody or something stopped it before it was through."""

    summary: Summary
    early: bool


def capture_command(
    plan_path: Path,
    url: str,
    out: Path,
    crew: Crew,
    kit_path: Path | None = None,
    wait: Callable[[], bool] | None = None,
    open_port: PortOpener = SerialPort,
) -> SetAccount:
    """Make the set of a plan and write its session to `out`. Raises InputError, WorldError, LinkLost, StorageFailed.

    `kit_path` is the kit as it is today, whose calibration is used; it must be the plan's but for what is measured.
    `wait` is asked again and again when all is ready, until it says that the set may begin.
    """
    plan = load_plan(plan_path)
    if not plan.proof.covered:
        raise InputError(f"{plan_path}: this plan does not cover its region; plan again.")
    measured: list[Check] = []
    if kit_path is not None:
        kit, records = load_kit(kit_path), read(kit_path)
        now = datetime.fromisoformat(clock.wall_time())
        measured = calibration_checks(kit, records, now)
        plan = _with_kit(plan, calibrated(kit, records, now), plan_path)
    must_be_own_head(plan.kit, str(plan_path if kit_path is None else kit_path))
    program = build_program(plan.kit, plan.frames)
    must_be_free_session(out)
    about = {
        "kind": CAPTURE,
        "port": url,
        "plan": plan.model_dump_json(),
        "plan_hash": plan.hash,
        "began": clock.wall_time(),
    }
    begun = True
    with _alone(out, url), open_port(url, plan.kit.board.baud) as port:
        try:
            with Session.create(out, about, durable=True) as session, job_of(plan, session, port, crew) as job:
                begun = False
                _preflight(job, program, measured)
                make_ready(job, program)
                if wait is not None:
                    job.hand(program).wait_until(wait)
                begun = True
                return _run(job, program)
        finally:
            if not begun:
                remove_file(out)  # nothing was made, so there is nothing to go on with


BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite writes beside a session (sqlite.org/fileformat2.html, sections 3 and 4; howtocorrupt.html, section 1.4)."""


def must_be_free_session(path: Path) -> None:
    """Check that a new session can be written at `path`. Raises StorageFailed, which says what a session there is for."""
    try:
        must_be_free(path, needs_bytes=LEAST_FREE_BYTES)
    except StorageFailed as error:
        if not os.path.isfile(path):  # of a name that cannot be, too
            raise
        raise StorageFailed(f"{error} Or go on with the session by `fullturn resume`.") from None
    for beside in BESIDE:  # one of another session would be taken for this one's, and spoil it
        must_be_free(path.with_name(f"{path.name}{beside}"))


def resume_command(path: Path, url: str | None, crew: Crew, open_port: PortOpener = SerialPort) -> Summary:
    """Go on with a session: make what is neither confirmed nor assumed. Raises what `capture_command` raises."""
    with sole_use(lock_of(path), str(path), "fullturn resume"), Session.open(path, to_write=True) as session:
        about = session.about()
        if about.get("kind") != CAPTURE:
            raise InputError(f"{path}: is the record of a {about.get('kind', 'run')}, which cannot be resumed.")
        plan = plan_from(session.plan_text(), str(path), begun=True)
        must_be_own_head(plan.kit, str(path))
        _take_old_wishes(session)
        account = account_of(session, plan)
        if account.exit_status == 0:
            return account.model_copy(update={"sentence": "Nothing is left to shoot."})
        made = session.made()
        program = build_program(plan.kit, plan.frames, made)
        device = url or about.get("port")
        if device is None:
            raise InputError(f"{path}: does not hold the port of its board; name it with --port.")
        with (
            port_alone(device, "fullturn resume"),
            open_port(device, plan.kit.board.baud) as port,
            job_of(plan, session, port, crew) as job,
        ):
            less = [] if plan.proof.covered else [Check("overlap", f"{lean_sentence(plan)}; plan the next set again")]
            _preflight(job, program, less)
            make_ready(job, program)
            session.note_about(f"resumed {clock.wall_time()}", f"{len(made)} exposures made by then")
            return _run(job, program).summary


def _with_kit(plan: Plan, kit: Kit, plan_path: Path) -> Plan:
    """The plan with the kit of today, proved for how its head leans today.

    Raises InputError where that is another kit, or its poses do not cover any more.
    """
    planned, today = (one.model_dump(exclude=MAY_DIFFER) for one in (plan.kit, kit))
    for table in planned:
        if planned[table] != today[table]:
            raise InputError(f"{plan_path}: was planned for a kit with another [{table}] than this one; plan again.")
    found = plan.model_copy(update={"kit": kit})
    if (kit.head.lean_deg, kit.head.lean_toward_deg) != (plan.kit.head.lean_deg, plan.kit.head.lean_toward_deg):
        proof = proof_at(found, poses_of(kit.head, found.frames))
        if not proof.covered:
            raise InputError(
                f"{plan_path}: {lean_sentence(found)}; level the head, or write lean_deg = {kit.head.lean_deg!r} and "
                f"lean_toward_deg = {kit.head.lean_toward_deg!r} under [head] in the kit and plan again."
            )
        found = with_proof(found, proof)
    return found.sealed()


# What a calibration may change.
MEASURED: dict[str, Any] = {
    "pan": {"backlash_deg", "measured_steps_per_degree"},
    "tilt": {"backlash_deg", "measured_steps_per_degree"},
    **dict.fromkeys(("ring_hz", "ring_damping", "settle_ms", "lean_deg", "lean_toward_deg"), True),
}
# ... and what else may be other than it was planned with: where to focus, and where figures come from.
MAY_DIFFER: dict[str, Any] = {"head": MEASURED, "exposure": {"f_number"}, "sources": True}


ALL_CLEAR = YesNoQuestion("Is the head level, the camera locked, and nobody and nothing within reach of what turns?")


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
        if wish.wanted == Word.RETAKE:
            session.doubt_frames(wish.frames)


def _run(job: Job, program: Program) -> SetAccount:
    session, crew = job.session, job.crew
    while True:
        result = _run_once(job, program)
        if not result.zero_lost or crew.keys is None:
            break
        # Somebody is there to set zero again; the run goes on with what is left.
        program = build_program(job.plan.kit, job.plan.frames, session.made())
        try:
            make_ready(job, program)
        except WorldError as error:
            result = replace(result, sentence=str(error))
            break
    session.note_end(result.sentence, complete=result.complete)
    session.note_about("ended", clock.wall_time())
    return SetAccount(account_of(session, job.plan, seconds=result.seconds), result.early)


def _run_once(job: Job, program: Program) -> RunResult:
    port, session, crew = job.port, job.session, job.crew
    with (
        crew.show(program, port.now(), session.made()) as shown,
        UsbCamera() if crew.tether else nullcontext() as tether,
    ):
        people = replace(crew.people, say=shown.say)
        operator = job.operator(people)

        def next_wish() -> Wanted | None:
            shown.tick(port.now())
            return operator.next_wish()

        runner = Runner(
            program,
            port,
            session,
            next_wish,
            shown.exposed,
            operator.ask,
            session.next_command_id(),
            shown.change,
            tether,
            operator.withdraw,
            people.care,
            Gate.of(people, port.now),
            zero_is_here=False,
            warn=shown.warn,
        )
        shown.watch(runner)
        session.note_clock(port.now(), clock.wall_time())
        return runner.run()


def _preflight(job: Job, program: Program, measured: Sequence[Check] = ()) -> None:
    """Look at everything that can be looked at and ask for the rest. Raises WorldError."""
    welcome = wait_known_board(job.port)
    found = [*checks(job.plan, program, welcome, job.session.path, job.session.remembered()), *measured]
    for check in found:
        job.crew.tell(check)
    bad = [check for check in found if not check.good]
    if bad:
        raise WorldError(f"{bad[0].what}: {bad[0].found}; nothing was moved.")
    if job.crew.ask_first and not job.hand(program).wait_answer(ALL_CLEAR):
        raise WorldError("Not started: see to that first (then --yes answers for you); nothing was moved.")
