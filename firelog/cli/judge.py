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

    Exit status 0 for a pass, 1 for fail or not proven.
    """
    from firelog.cli.show import print_assessment, shown_settings
    from firelog.judging import answer, assess
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        words_in = None if as_json else shown_settings(store)[0]
        assessment = assess(store, store.firing(firing), words_in)
        verdict = answer(assessment)
        if as_json:
            emit_json(verdict)
        else:
            print_assessment(store, assessment)
    ctx.exit(0 if verdict["verdict"] == "pass" else 1)
