"""`fullturn capture` and `resume`: shoot a set on a real board, with each exposure on disk before and after it."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.calibration.validity import calibrated, calibration_checks
from controller.capture.clock_watch import ClockWatch
from controller.capture.events import Wanted
from controller.capture.gate import Gate
from controller.capture.people import People, YesNoQuestion
from controller.capture.planned_pauses import PlannedPauses
from controller.capture.preflight import Check, checks
from controller.capture.pulse import Pulse
from controller.capture.runner import Runner, RunResult
from controller.capture.tether import UsbCamera
from controller.commands.crew import Crew, Job, PortOpener, job_of
from controller.errors import InputError, WorldError
from controller.kit.load import load_kit
from controller.kit.own_head import must_be_own_head
from controller.lock import lock_of, sole_use
from controller.planning.kit_of_today import with_kit
from controller.planning.plan import Plan, lean_sentence
from controller.planning.plan_file import load_plan, plan_from
from controller.ports.find import wait_known_board
from controller.ports.serial_port import SerialPort, port_alone
from controller.program.build import build_program
from controller.program.program import Program
from controller.report.summary import Summary, account_of
from controller.session.new_place import must_be_free_session
from controller.session.rows import CAPTURE, Happening, Moment, RunReason, Word
from controller.session.session import Session
from controller.session.talk_rows import SentenceKind
from controller.shown import shown


@dataclass(frozen=True, slots=True)
class SetAccount:
    """The account of a set, and whether it was stopped before its end."""

    summary: Summary
    early: bool


def capture_command(
    plan_path: Path,
    url: str,
    out: Path,
    crew: Crew,
    *,
    kit_path: Path | None = None,
    wait: Callable[[People], bool] | None = None,
    open_port: PortOpener = SerialPort,
) -> SetAccount:
    """Shoot the set of a plan and write its session to `out`. Raises InputError, WorldError, LinkLost, StorageFailed.

    `kit_path` is the kit as it is today, whose calibration is used; only measured figures may differ from the plan's kit.
    `wait` is asked repeatedly when all is ready, until it returns that the set may begin; it may tell people why.
    """
    plan, measured = _plan_of_today(plan_path, kit_path)
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
                job.make_ready(program)
                if wait is not None:
                    job.hand(program).wait_until(lambda: wait(job.people))
                begun = True
                return _run(job, program, RunReason.BEGUN)
        finally:
            if not begun:
                Session.remove(out)  # nothing was shot, so there is nothing to resume


def _plan_of_today(plan_path: Path, kit_path: Path | None) -> tuple[Plan, list[Check]]:
    """The plan with today's kit, if one is named, and the checks of its calibration. Raises InputError."""
    plan = load_plan(plan_path)
    if not plan.proof.covered:
        raise InputError(f"{plan_path}: this plan does not cover its region; plan again.")
    measured: list[Check] = []
    if kit_path is not None:
        kit, records = load_kit(kit_path), read(kit_path)
        now = clock.wall_moment()
        measured = calibration_checks(kit, records, now)
        plan = with_kit(plan, calibrated(kit, records, now), plan_path)
    must_be_own_head(plan.kit, str(plan_path if kit_path is None else kit_path))
    return plan, measured


def resume_command(path: Path, url: str | None, crew: Crew, open_port: PortOpener = SerialPort) -> Summary:
    """Resume a session: shoot what is neither confirmed nor assumed. Raises what `capture_command` raises."""
    with sole_use(lock_of(path), str(path), "fullturn resume"), Session.open(path, to_write=True) as session:
        about = session.about()
        if about.get("kind") != CAPTURE:
            raise InputError(f"{path}: is the record of a {about.get('kind', 'run')}, which cannot be resumed.")
        plan = plan_from(session.plan_text(), str(path), begun=True)
        must_be_own_head(plan.kit, str(path))
        _forget_old_words(session)
        account = account_of(session, plan)
        if account.exit_status == 0:
            return account.model_copy(update={"sentence": "Nothing is left to shoot."})
        made = session.made()
        program = build_program(plan.kit, plan.frames, made)
        device = url or about.get("port")
        if device is None:
            raise InputError(f"{path}: the board's port is missing from this session; name it with --port.")
        with (
            port_alone(device, "fullturn resume"),
            open_port(device, plan.kit.board.baud) as port,
            job_of(plan, session, port, crew) as job,
        ):
            less = [] if plan.proof.covered else [Check("overlap", f"{lean_sentence(plan)}; plan the next set again")]
            _preflight(job, program, less)
            job.make_ready(program)
            return _run(job, program, RunReason.RESUMED).summary


LOOK_AGAIN = "`fullturn watch {path}` shows this run in any other terminal."
ALL_CLEAR = YesNoQuestion("Is the head level, the camera locked, and nobody and nothing within reach of what turns?")


@contextmanager
def _alone(out: Path, url: str) -> Iterator[None]:
    with sole_use(lock_of(out), str(out), "fullturn capture"), port_alone(url, "fullturn capture"):
        yield


def _forget_old_words(session: Session) -> None:
    """Take up the frames that were to be shot again while no run was active.

    Older requests were for a run that has ended. A question that a killed run left open is also closed.
    """
    session.close_question()
    while (request := session.take_request()) is not None:
        if request.wanted == Word.RETAKE:
            session.doubt_frames(request.frames)


def _run(job: Job, program: Program, why: RunReason) -> SetAccount:
    session, crew = job.session, job.crew
    while True:
        result = _run_once(job, program, why)
        if not result.zero_lost or crew.keys is None:
            break
        # A person set zero again: another run shoots the rest.
        session.end_run(result.sentence, complete=result.complete, utc=clock.wall_time())
        why = RunReason.ZERO_SET
        program = build_program(job.plan.kit, job.plan.frames, session.made())
        try:
            job.make_ready(program)
        except WorldError as error:
            result = replace(result, sentence=str(error))
            break
    session.end_run(result.sentence, complete=result.complete, utc=clock.wall_time())
    return SetAccount(account_of(session, job.plan, seconds=result.seconds), result.early)


def _run_once(job: Job, program: Program, why: RunReason) -> RunResult:
    port, session, crew = job.port, job.session, job.crew
    with (
        crew.show(program, port.now(), session.made()) as screen,
        UsbCamera() if crew.tether else nullcontext() as tether,
    ):
        people = replace(job.people, show=screen.say)
        operator = job.operator(people)
        planned = PlannedPauses(replace(crew.pauses, watts=job.plan.kit.power.watts), port.now, people.say)

        def keep(kind: SentenceKind, words: str, lasts_ns: int | None = None) -> None:
            job.keep(kind, words, lasts_ns)
            if kind is SentenceKind.WARNING:
                people.ring()

        def next_request() -> Wanted | None:
            now_ns = port.now()
            screen.tick(now_ns)
            pulse.tick(now_ns)
            times.tick()
            return operator.next_request() or planned.next_request()

        def change(happening: Happening) -> None:
            screen.change(happening)
            pulse.change(happening)
            planned.change(happening)

        runner = Runner(
            program,
            port,
            session,
            next_request,
            on_exposure=screen.exposed,
            ask=operator.ask,
            first_id=session.next_command_id(),
            on_change=change,
            tether=tether,
            withdraw=operator.withdraw,
            care=people.care,
            gate=Gate.of(people, port.now),
            zero_is_here=False,
            warn=screen.warn,
        )
        pulse = Pulse(session, screen.seen, runner, planned)
        screen.watch(runner, keep)
        session.begin_run(why, Moment(port.now(), clock.wall_time()))
        times = ClockWatch(session, port.now, people.say)
        result = runner.run()
        people.ring()
        pulse.beat(port.now())
        return result


def _preflight(job: Job, program: Program, measured: Sequence[Check] = ()) -> None:
    """Check what can be checked and ask about the rest. Raises WorldError."""
    welcome = wait_known_board(job.port)
    found = [*checks(job.plan, program, welcome, job.session.path, job.session.remembered()), *measured]
    if not job.crew.people.through_session:  # `--detach` says it itself
        job.people.say(LOOK_AGAIN.format(path=shown(job.session.path)))
    for check in found:
        job.tell(check)
    bad = [check for check in found if not check.good]
    if bad:
        raise WorldError(f"The check of {bad[0].what} failed: {bad[0].found}. Nothing was moved.")
    if job.crew.ask_first and not job.hand(program).wait_answer(ALL_CLEAR):
        raise WorldError("Not started; nothing was moved. Correct that first; --yes skips this question.")
