"""``firelog schedules fit``: what a kiln can truly do, from its past firings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from firelog.record.store import Store
    from firelog.schedule.follow.segments import Following
    from firelog.schedule.forecast.capability import Capability, CapabilityDoubt
    from firelog.schedule.plan.model import Schedule


@click.command()
@click.argument("kiln")
@click.option("--schedule", "name", help="Say which segments of this schedule it can never follow.")
@json_option
@common_options
@pass_settings
@click.pass_context
def fit(
    ctx: click.Context, settings: Settings, *, kiln: str, name: str | None, as_json: bool
) -> None:
    """What KILN can truly do at each temperature, from its past firings.

    Exit status 1 when the schedule asks for something it cannot do.
    """
    from firelog.errors import InputError
    from firelog.record.store import Store
    from firelog.reference import find_schedule
    from firelog.schedule.forecast.capability import cannot_follow, learn
    from firelog.schedule.plan.reader import read_schedule

    plan = None if name is None else read_schedule(find_schedule(name))
    with Store.open(settings.store_path()) as store:
        past = _past_firings(store, kiln)
    if not past:
        raise InputError(
            f"{kiln!r} has no ended firing with a schedule yet; see `firelog firings` for its name"
        )
    known = learn(past)
    doubts = () if plan is None else cannot_follow(plan, known)
    if as_json:
        emit_json(_fit_answer(kiln, known, doubts))
    else:
        _print_fit(kiln, known, doubts, plan)
    ctx.exit(1 if any(doubt.cannot for doubt in doubts) else 0)


def _past_firings(store: Store, kiln: str) -> list[tuple[Schedule, Following]]:
    from firelog.judge.firing import assess
    from firelog.schedule.follow.segments import follow

    found = []
    for firing in store.firings(kiln):
        if firing.running or firing.schedule_sha256 is None:
            continue
        assessment = assess(store, firing)
        if assessment.schedule is not None:
            found.append((assessment.schedule, follow(assessment.schedule, assessment.traces)))
    return found


def _fit_answer(kiln: str, known: Capability, doubts: Sequence[CapabilityDoubt]) -> dict[str, Any]:
    from dataclasses import asdict

    return {
        "kiln": kiln,
        "firings": known.firings,
        "heating": _rates(known, 0),
        "cooling": _rates(known, 1),
        "doubts": [asdict(doubt) for doubt in doubts],
    }


def _rates(known: Capability, row: int) -> list[dict[str, float | None]]:
    from math import isfinite

    found: list[dict[str, float | None]] = []
    for number, seen in enumerate(known.seen[row]):
        if isfinite(seen):
            full = float(known.full[row, number])
            found.append(
                {
                    "from_c": float(known.edges_c[number]),
                    "to_c": float(known.edges_c[number + 1]),
                    "seen_k_per_h": round(float(seen), 1),
                    "full_out_k_per_h": round(full, 1) if isfinite(full) else None,
                }
            )
    return found


def _print_fit(
    kiln: str, known: Capability, doubts: Sequence[CapabilityDoubt], plan: Schedule | None
) -> None:
    from rich.table import Table

    from firelog.cli.show import console
    from firelog.say.numbers import show_rate, show_temperature

    unit = plan.unit if plan else "C"
    out = console()
    out.print(f"{kiln}: from {known.firings} past firings")
    table = Table("", "from", "to", "fastest seen", "at its end", box=None, pad_edge=True)
    for word, rows in (("heating", _rates(known, 0)), ("cooling", _rates(known, 1))):
        for rate in rows:
            full = rate["full_out_k_per_h"]
            table.add_row(
                word,
                show_temperature(rate["from_c"] or 0.0, unit),
                show_temperature(rate["to_c"] or 0.0, unit),
                show_rate(rate["seen_k_per_h"] or 0.0, unit),
                "" if full is None else show_rate(full, unit),
            )
    out.print(table)
    for doubt in doubts:
        asked, known_rate = (
            show_rate(doubt.asked_k_per_h, unit),
            show_rate(doubt.known_k_per_h, unit),
        )
        where = show_temperature(doubt.at_c, unit)
        if doubt.cannot:
            text = f"{doubt.segment}: asks {asked}; at {where} this kiln does {known_rate} at best."
        elif doubt.known_k_per_h > 0:
            text = (
                f"{doubt.segment}: asks {asked}; at {where} it was never seen above {known_rate}."
            )
        else:
            text = f"{doubt.segment}: asks {asked}; at {where} this kiln was never seen on a ramp."
        out.print(text, soft_wrap=True)
    if plan and not doubts:
        out.print(f"It can follow every segment of {plan.title!r}.")
