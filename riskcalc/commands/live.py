"""`riskcalc live`: turn a figure and see the answer move."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from riskcalc.commands.options import ScenarioFile, say

LOOPBACK = "127.0.0.1"


def live(
    scenario_file: ScenarioFile,
    port: Annotated[int, typer.Option(help="Port to listen on; 0 picks a free one.", min=0, max=65535)] = 0,
    host: Annotated[
        str, typer.Option(help="Address to listen on; other machines can reach any but this one.")
    ] = LOOPBACK,
    show: Annotated[bool, typer.Option("--open/--no-open", help="Open the page in the browser.")] = True,
) -> None:
    """Serve a workbench of a scenario to this machine: turn a figure and see the answer move. Ends on Ctrl-C."""
    from riskcalc.live.server import serve

    def ready(address: str) -> None:
        say(f"{address}\nThe workbench runs until you press Ctrl-C. Nothing is written unless you save.")
        if host != LOOPBACK:
            say("Other machines can reach this address: anyone who has it can use the workbench.", err=True)
        if show:
            typer.launch(address)

    serve(scenario_file, host=host, port=port, report=_report, say=ready)


def _report(found: Any, command: str) -> str:
    from riskcalc.answers.page_dict import page_dict, whole_result
    from riskcalc.language import speaking
    from riskcalc.pages.page import assess_page

    with speaking(found.scenario.study.language):
        return assess_page(page_dict(found, figures=whole_result(found), command=command))
