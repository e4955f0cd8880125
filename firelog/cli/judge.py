"""``firelog judge FIRING``: the schedule's requirements against the record."""

from __future__ import annotations

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings


@click.command()
@click.argument("firing")
@json_option
@common_options
@pass_settings
@click.pass_context
def judge(ctx: click.Context, settings: Settings, firing: str, as_json: bool) -> None:
    """Hold FIRING against its schedule and say pass, fail or not proven, with the evidence.

    While FIRING runs, also when its segments should finish, from the kiln's own past firings.
    Exit status 0 for a pass, 1 for fail or not proven.
    """
    from firelog.cli.show import print_assessment, shown_settings
    from firelog.judge import outlook
    from firelog.judge.firing import answer, assess
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        unit, _ = shown_settings(store)
        assessment = assess(store, store.firing(firing), unit)
        verdict = answer(assessment)
        ahead, late = None, outlook.lateness(assessment)
        if assessment.firing.running:
            past = outlook.past_of(store, assessment.firing)
            ahead = outlook.outlook_of(assessment, outlook.history_of(store, past), unit)
        if as_json:
            verdict["late_s"] = None if late is None else round(late.late_s)
            verdict["outlook"] = ahead and outlook.told(ahead, assessment.firing, late)
            emit_json(verdict)
        else:
            print_assessment(store, assessment, ahead, late)
    ctx.exit(0 if verdict["verdict"] == "pass" else 1)
