"""`fullturn rehearse`: the whole run on a simulated rig in virtual time, through real protocol bytes."""

import dataclasses
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from controller.amounts import duration
from controller.capture.gate import Gate
from controller.capture.interrupts import Interrupts
from controller.capture.operator import Operator
from controller.capture.people import LEAD_AGAIN_NS, People, YesNoQuestion
from controller.capture.runner import Runner, RunResult
from controller.capture.seen import Seen
from controller.commands.faults import scenario_for
from controller.commands.stand_in import rig_spec
from controller.display import Display
from controller.errors import InputError, StorageFailed
from controller.files import write_whole
from controller.folders import appearing_folder
from controller.kit.exposing import head_sentences
from controller.places import must_be_free_folder, must_have_room
from controller.planning.plan import Plan
from controller.planning.plan_file import load_plan
from controller.program.build import build_program
from controller.program.program import Program
from controller.report.account_words import ending_words, made_words
from controller.report.html import write_html
from controller.report.own_pages import is_own_account, is_own_page, is_own_truth
from controller.report.run_page import write_run_page
from controller.report.summary import Summary, account_of
from controller.report.tale import TaleLine, in_order, in_truth, tale, with_person
from controller.session.rows import REHEARSAL, RunReason
from controller.session.session import Session
from sim.person import Person
from sim.rig import Rig
from sim.trace import Trace
from sim.virtual_port import HostKilled, VirtualPort

if TYPE_CHECKING:  # painting takes libraries that a rehearsal without pictures does not need
    from controller.commands.pictures import Darkroom

SESSION = "session.sqlite"
SESSION_BYTES, EXPOSURE_BYTES = 2_000_000, 3_000  # of all files together, generously


def _is_own_rehearsal(path: Path) -> bool:
    try:
        with Session.open(path) as earlier:
            return earlier.about().get("kind") == REHEARSAL and not earlier.losses
    except (InputError, StorageFailed):
        return False


OURS = {
    SESSION: _is_own_rehearsal,
    "truth.json": is_own_truth,
    "report.json": is_own_account,
    "report.html": is_own_page,
    "run.html": is_own_page,
}
"""The files that a rehearsal writes, and how each is recognised."""


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """The account of a rehearsal, the tale of its faults, and notes about the kit."""

    summary: Summary
    tale: list[TaleLine]
    head: tuple[str, ...] = ()
    """A sentence if the head is an example."""


def rehearse_command(
    plan_path: Path,
    out: Path,
    seed: int,
    progress: Callable[[int], Callable[[], None]],
    darkroom: "Darkroom | None" = None,
    faults: str | None = None,
    *,
    replace: bool = False,
) -> Rehearsed:
    """Rehearse the plan and write session, truth and reports into the new folder `out`.

    `progress(total)` returns a function that is called after each exposure. The `darkroom` gets a film of what the camera
    saw. `faults` names a scenario or its file. With `replace`, an earlier rehearsal in the folder is replaced, but never
    a capture. Raises InputError, StorageFailed.
    """
    must_be_free_folder(out, replace=replace, ours=OURS)
    plan = load_plan(plan_path)
    if darkroom is not None:
        darkroom.load(plan.kit, out, len(plan.exposures))
    program = build_program(plan.kit, plan.frames)
    scenario = scenario_for(faults, plan, program)
    must_have_room(out, SESSION_BYTES + len(plan.exposures) * EXPOSURE_BYTES)
    rig = Rig(dataclasses.replace(rig_spec(plan.kit, seed), scenario=scenario))
    trace = rig.trace = Trace()
    if darkroom is not None:
        rig.truth = darkroom.film
    about = {"kind": REHEARSAL, "seed": str(seed), "plan": plan.model_dump_json(), "plan_hash": plan.hash}
    with (
        appearing_folder(out, replace=replace, ours=OURS) as folder,
        Session.create(folder / SESSION, about, durable=False) as session,
        Interrupts() as interrupts,
    ):
        port = VirtualPort(rig)
        runner = _runner(program, port, rig, session, interrupts, progress(len(plan.exposures)))
        session.begin_run(RunReason.BEGUN, None)
        try:
            result = runner.run()
        except HostKilled:
            result = RunResult(
                False, "The program was killed; the session contains all exposures made before that.", 0, port.now()
            )
        session.end_run(result.sentence, complete=result.complete)
        return _write_all(folder, plan, session, rig, trace, result)


def _runner(
    program: Program,
    port: VirtualPort,
    rig: Rig,
    session: Session,
    interrupts: Interrupts,
    on_exposure: Callable[[], None],
) -> Runner:
    """A run that reports frames by hand as held at once, or has a person beside the head if the scenario has one."""
    if rig.scenario.person is None:

        def hold(question: YesNoQuestion) -> bool:
            if question.hold_deg is not None:
                rig.head.hold_by_hand(*question.hold_deg)
            return True

        return Runner(program, port, session, interrupts.next_request, on_exposure=on_exposure, ask=hold)
    person = rig.person = Person(rig.scenario.person, rig.seed, port.now, port.wake_at, rig.head)
    people = People(person.say, lines=person, at_terminal=True, lead_ns=LEAD_AGAIN_NS)
    operator = Operator(port.now, interrupts, people, session)
    shown = Display(Seen(program, 0, 0, len(program.exposures)), person.say)
    return Runner(
        program,
        port,
        session,
        operator.next_request,
        on_exposure=on_exposure,
        ask=operator.ask,
        on_change=shown.change,
        withdraw=operator.withdraw,
        care=people.care,
        gate=Gate.of(people, port.now),
        warn=shown.warn,
    )


def _write_all(folder: Path, plan: Plan, session: Session, rig: Rig, trace: Trace, result: RunResult) -> Rehearsed:
    happenings = session.happenings()
    summary = account_of(session, plan, seconds=result.seconds)
    told = []
    if rig.incidents.happened:
        told = tale(rig.incidents.happened, happenings) + in_truth(plan, rig.truth.exposures, result.ended_ns)
    if rig.person is not None:
        told = in_order([*told, *_with(rig.person, result.ended_ns)])
    write_whole(folder / "truth.json", rig.truth.to_json())
    write_whole(folder / "report.json", summary.model_dump_json(indent=1) + "\n")
    write_html(folder / "report.html", plan, summary, happenings, [(line.when, line.who, line.what) for line in told])
    write_run_page(folder / "run.html", plan, trace.samples, [asdict(one) for one in rig.truth.exposures])
    return Rehearsed(summary, told, tuple(head_sentences(plan.kit)))


def _with(person: Person, end_ns: int) -> list[TaleLine]:
    return with_person(person.read, person.typed, len(person.unannounced), end_ns)


def rehearsal_text(rehearsed: Rehearsed, out: Path) -> str:
    """The text for the photographer."""
    summary = rehearsed.summary
    told = "".join(line.text() + "\n" for line in rehearsed.tale)
    ending = ending_words(summary) + "\n" if ending_words(summary) else ""
    return (
        f"{told}{made_words(summary)} in {duration(summary.virtual_seconds)}; "
        f"predicted {duration(summary.predicted_seconds)}.\n"
        f"{ending}"
        f"{''.join(sentence + chr(10) for sentence in rehearsed.head)}"
        f"The report is in {out / 'report.html'}, the run in time in {out / 'run.html'}"
    )
