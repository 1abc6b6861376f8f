"""``watchkeeper rehearse``: a whole watch on a simulated band."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from .options import config_option, data_option, fail
from .paging import Page, chosen, page_options


@click.command()
@click.option("--scenario", default="evening-20m", show_default=True, help="Name of a scenario, or a file.")
@click.option("--periods", type=click.IntRange(1), help="How many periods; the scenario's own number when not given.")
@click.option("--pace", default=None, help="1 is real time, 10 ten times as fast; max does not wait.  [default: 1]")
@click.option("--seed", type=int, default=1, show_default=True, help="Another seed is another evening.")
@click.option(
    "--faults", help="'wire' (a tenth lost, doubled, reordered), loss=0.2,corrupt=0.1, or kinds of the scenario."
)
@click.option("--operator", type=click.Choice(["advice", "strongest", "random"]), help="Whom the own station calls.")
@click.option("--world", default=None, help="A world that differs from what the watch expects.")
@click.option("--plain", is_flag=True, help="Sentences instead of a dashboard; by itself without a terminal.")
@click.option("--theme", type=click.Choice(["dark", "light", "sunlight"]), help="Colours of the dashboard.")
@click.option("--score", is_flag=True, help="Measure the watch by the band's truth instead of showing it.")
@click.option("--json", "as_json", is_flag=True, help="End with one JSON object on the last line.")
@page_options
@data_option
@config_option
def command(
    scenario: str,
    periods: int | None,
    pace: str | None,
    seed: int,
    faults: str | None,
    operator: str | None,
    world: str | None,
    plain: bool,
    theme: str | None,
    score: bool,
    as_json: bool,
    page: bool,
    page_for_phone: bool,
    page_port: int,
    data: Path | None,
    config_path: Path | None,
) -> None:
    """Stand a real watch on a simulated band: events over real UDP from a process of its own, a scripted operator who
    answers and logs, and a small HTTP log to forward to. Nothing is transmitted and no decoder is needed.

    State goes to a fresh temporary folder unless --data says where.

    \b
    Examples:
      watchkeeper rehearse                              an evening on 20 m at real pace, as a dashboard
      watchkeeper rehearse --plain --periods 20 --pace max --seed 7 --json
      watchkeeper rehearse --score --scenario contest-hour --seed 3
    """
    import msgspec

    from .rehearsing import Request, rehearse

    request = Request(
        scenario=scenario,
        periods=periods,
        pace=pace or ("max" if score else "1"),
        seed=seed,
        faults=faults,
        operator=operator,
        world=world,
        plain=plain,
        theme=theme,
        silent=score,
        page=chosen(page, page_for_phone) if not score else Page.CLOSED,
        page_port=page_port,
        data=data,
        config_path=config_path,
    )
    told = asyncio.run(rehearse(request))
    if isinstance(told, str):
        fail(told)
    if score:
        from .scoring import measure, table

        told = measure(told)
        click.echo(msgspec.json.encode(told) if as_json else table(told))
    elif as_json:
        click.echo(msgspec.json.encode(told))
    elif told["periods"]:
        click.echo(
            f"{told['contacts_made']} contacts made, {told['contacts_stored']} in the log, "
            f"{told['contacts_forwarded']} forwarded; {told['hails']} hails in {told['periods']} periods. "
            f"The log is {told['adif_path']}, all state in {told['data_dir']}."
        )
