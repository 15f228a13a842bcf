"""Plans for the page: one request a line on standard input, one answer a line on standard output, until input ends.

A request is `{"kit": PATH, "options": ["--overlap=0.3", ...]}` with the options of `fullturn plan`. An answer has the
sentences about the plan, its frames as shapes, and what it costs; or `refused`, the sentence that says why there is none.
The process keeps what it has loaded, so that a plan can be drawn while its options change.
"""

import json
import sys
from pathlib import Path
from typing import Any

import click

from controller.cli.plan import plan as plan_group
from controller.cli.plan_options import asked_for
from controller.commands.plan import WeighedPlan, weighed_plan
from controller.errors import InputError, WorldError
from controller.page.sphere_map import sphere_map
from controller.planning.effort import Effort
from controller.planning.request import Arrangement
from controller.report.plan_words import plan_sentences, proof_sentence


def answer(line: str) -> dict[str, Any]:
    """The answer to a request."""
    asked = json.loads(line)
    try:
        made = _planned(Path(asked["kit"]), asked["options"])
    except click.UsageError as error:
        return {"refused": error.format_message()}
    except InputError as error:
        return {"refused": " ".join(error.sentences)}
    except WorldError as error:
        return {"refused": str(error)}
    plan, budget = made.plan, made.plan.budget
    return {
        "sentences": plan_sentences(plan, made.compared, made.calibration),
        "proof": proof_sentence(plan),
        "map": sphere_map(plan).as_json(),
        "frames": len(plan.frames),
        "exposures": budget.exposures,
        "seconds": budget.seconds,
        "megabytes": budget.megabytes,
        "watt_hours": budget.watt_hours,
    }


def _planned(kit: Path, options: list[str]) -> WeighedPlan:
    context = plan_group.make_context("plan", [*options, "--", str(kit)])
    asked = asked_for(context.params)
    effort = Effort(asked.request.effort_s) if asked.request.arrangement is Arrangement.FEWEST else None
    return weighed_plan(kit, asked, effort)


def main() -> None:
    """Answer until input ends."""
    for line in sys.stdin:
        print(json.dumps(answer(line), allow_nan=False), flush=True)


if __name__ == "__main__":
    main()
