"""`fullturn rehearse --faults`: what it refuses, and what it lists."""

from tests.controller.commands.shell import Shell, refuses


def test_a_fault_that_would_never_come_is_refused(shell: Shell) -> None:
    assert shell("plan", "kit.toml", "--out", "plan.json").status == 0
    for text, words in (
        ("at_s = 5000", "the run takes about"),
        ("after_exposure = 900", "the plan has 26 exposures"),
        ("at_frame = 13", "frames are 0 to 12"),
    ):
        shell.write("late.toml", f'[[fault]]\nkind = "board-reset"\n{text}\n')
        (line,) = refuses(shell, 2, "rehearse", "plan.json", "--out", "out", "--faults", "late.toml")
        assert line.startswith("late.toml: line 1: ")
        assert words in line
    (line,) = refuses(shell, 2, "rehearse", "plan.json", "--out", "out", "--faults", "nothing.toml")
    assert "neither a file nor a scenario" in line


def test_the_scenarios_are_listed_without_a_plan(shell: Shell) -> None:
    told = shell("rehearse", "--list-faults")
    assert told.status == 0
    assert "line-cut         The cable is pulled" in told.out
