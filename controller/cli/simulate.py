"""`fullturn simulate`: its options, and how the result is printed."""

from dataclasses import asdict
from pathlib import Path

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.numbers import bounded, bounded_whole
from controller.cli.option_types import Address, Text
from controller.cli.shared_options import FILE, OUTPUT, json_option, show
from controller.ports.address import Host

with later():
    from controller.commands import simulate as simulate_work


@click.command(cls=Command, short_help="Serve a simulated rig at a port, in real time.")
@click.option("--kit", type=FILE, required=True, help="The kit to simulate.")
@click.option("--port-name", type=OUTPUT, help="A second name for the path of the pseudo-terminal.")
@click.option("--tcp", type=Address(), metavar="HOST:PORT", help="Serve over TCP instead; open it as socket://HOST:PORT.")
@click.option("--truth", type=OUTPUT, help="Write every true exposure to this file.")
@click.option(
    "--seed", type=bounded_whole("seed"), default=0, show_default=True, help="Seed of chance in the simulation."
)
@click.option(
    "--speed",
    type=bounded("speed"),
    default=1.0,
    show_default=True,
    help="Simulated seconds per real second; above 1, increase silence_ms in the kit.",
)
@click.option(
    "--faults",
    type=Text(4000),
    metavar="NAME|FILE",
    help="Inject the faults of this scenario, except those of the host.",
)
@json_option
def simulate(
    kit: Path,
    port_name: Path | None,
    tcp: Host | None,
    truth: Path | None,
    seed: int,
    speed: float,
    faults: str | None,
    as_json: bool,
) -> None:
    """Serve a simulated rig in real time at a port that any program can open, until interrupted."""

    def tell(served: simulate_work.Served) -> None:
        show(asdict(served) if as_json else simulate_work.simulation_text(served))

    exposures = simulate_work.simulate_command(
        kit, simulate_work.ServingPlace(port_name, tcp), truth, seed=seed, speed=speed, tell=tell, faults=faults
    )
    if not as_json:
        click.echo(f"Ended; {exposures} exposures were really made.")
