"""The schedule file: what is read as meant, and what is refused with file, line and remedy."""

from __future__ import annotations

import pytest

from firelog.errors import ScheduleError
from firelog.reference import schedule_files
from firelog.schedule.plan.reader import parse_schedule, read_schedule
from firelog.schedule.plan.requirements import Ramp, Reach, Soak, Track
from firelog.verdict import Decision

HEAD = 'title = "t"\n'
RAMP = '[[segment]]\nname = "up"\nto = 870\n'


def parse(text: str):
    return parse_schedule(text, "s.toml")


def test_design_example_is_read_as_meant():
    """The format of the design document gives a flash ramp, a hold and a soak requirement."""
    plan = parse(
        """
title = "Ceramic shell: flash, burn out, preheat"
unit  = "C"
[[segment]]
name = "flash"
to = 870
within = "20 min"
[[segment]]
name = "burn out"
hold = "90 min"
band = 15
[[require]]
name = "hot enough, long enough"
kind = "soak"
segment = "burn out"
channels = "kiln"
at_least = 855
lasting = "80 min"
"""
    )
    flash, burn_out = plan.segments
    assert (flash.target_c, flash.within_s, flash.rate_k_per_h) == (870.0, 1200.0, None)
    assert (burn_out.target_c, burn_out.hold_s, burn_out.band_k) == (870.0, 5400.0, 15.0)
    (soak,) = plan.requirements
    assert isinstance(soak, Soak)
    assert (soak.at_least_c, soak.lasting_s, soak.segment) == (855.0, 4800.0, "burn out")


def test_fahrenheit_bands_are_differences():
    """A band of 25 °F is 13.89 K, not the -3.9 °C that the +32 would make of it."""
    plan = parse(HEAD + 'unit = "F"\n' + RAMP.replace("870", "1600") + "band = 25\n")
    assert plan.segments[0].target_c == pytest.approx(871.111, abs=1e-3)
    assert plan.segments[0].band_k == pytest.approx(13.889, abs=1e-3)


def test_fahrenheit_rates_are_degrees_of_the_file_per_hour():
    """100 in a °F file is 100 °F/h = 55.56 K/h (FACTS: differences, section 10)."""
    rule = '[[require]]\nname = "r"\nkind = "ramp"\nat_most = 100\n'
    (ramp,) = parse(HEAD + 'unit = "F"\n' + RAMP + rule).requirements
    assert isinstance(ramp, Ramp)
    assert ramp.at_most_k_per_h == pytest.approx(55.556, abs=1e-3)


def test_strings_with_units_override_the_file():
    """A value with its own unit is taken as written, whatever the file's unit."""
    plan = parse(HEAD + 'unit = "F"\n[[segment]]\nname = "up"\nto = "870 C"\nrate = "5 K/min"\n')
    assert plan.segments[0].target_c == 870.0
    assert plan.segments[0].rate_k_per_h == 300.0


def test_share_may_be_a_percentage():
    """0.9 and "90 %" are the same share."""
    rule = '[[require]]\nname = "r"\nkind = "track"\nband = 20\nshare = {}\n'
    for written in ("0.9", '"90 %"'):
        (track,) = parse(HEAD + RAMP + rule.format(written)).requirements
        assert isinstance(track, Track)
        assert track.share == pytest.approx(0.9)


def test_decision_is_kept():
    """A requirement may ask for plain acceptance."""
    rule = '[[require]]\nname = "r"\nkind = "reach"\ntemperature = 800\ndecision = "simple"\n'
    (reach,) = parse(HEAD + RAMP + rule).requirements
    assert isinstance(reach, Reach)
    assert reach.decision is Decision.SIMPLE


def test_ramp_takes_the_band_of_its_hold():
    """A ramp without a band is there when it is inside the band of the hold after it."""
    plan = parse(HEAD + RAMP + '[[segment]]\nname = "hold"\nhold = "1 h"\nband = 7\n')
    assert plan.segments[0].band_k == 7.0


HOLD = '[[segment]]\nname = "hold"\nhold = "1 h"\n'
RULE = '[[require]]\nname = "r"\n'
REFUSED = {
    "no title": (RAMP, "'title' is missing"),
    "no segments": (HEAD, "there is no [[segment]]"),
    "unknown top key": (HEAD + 'ttile = "x"\n' + RAMP, "line 2: unknown key 'ttile'; did you mean"),
    "unknown unit": (HEAD + 'unit = "R"\n' + RAMP, "line 2"),
    "unknown segment key": (HEAD + RAMP + "bnad = 5\n", "line 5: unknown key 'bnad'; did you mean"),
    "neither to nor hold": (HEAD + '[[segment]]\nname = "x"\n', "neither to"),
    "within and rate": (HEAD + RAMP + 'within = "1 h"\nrate = 100\n', "line 6: within and rate"),
    "hold and rate": (HEAD + RAMP + HOLD + "rate = 3\n", "line 8: hold and rate"),
    "hold first": (HEAD + HOLD, "line 4: a hold needs a temperature"),
    "hold elsewhere": (HEAD + RAMP + HOLD + "to = 900\n", "line 8: a hold stays"),
    "negative hold": (HEAD + RAMP + HOLD.replace("1 h", "-5 min"), "line 7: hold = '-5 min'"),
    "zero hold": (HEAD + RAMP + HOLD.replace('"1 h"', "0"), "line 7: hold"),
    "too hot": (HEAD + RAMP.replace("870", "1900"), "line 4: to = 1900 is 1900 °C"),
    "below absolute zero": (HEAD + RAMP.replace("870", "-300"), "line 4: to = -300"),
    "not a number": (HEAD + RAMP.replace("870", '"hot"'), "line 4: to = 'hot'"),
    "infinite": (HEAD + RAMP.replace("870", "inf"), "line 4: to = inf"),
    "a truth": (HEAD + RAMP.replace("870", "true"), "line 4: to = True"),
    "negative rate": (HEAD + RAMP + "rate = -100\n", "line 5: rate = -100"),
    "rate without time": (HEAD + RAMP + 'rate = "100 C"\n', "line 5: rate = '100 C'"),
    "no way to go": (HEAD + "start = 870\n" + RAMP, "line 5: aims at the temperature it starts"),
    "duplicate segment": (HEAD + RAMP + RAMP, "line 6: the name 'up' is used twice"),
    "unknown kind": (HEAD + RAMP + RULE + 'kind = "sook"\n', "line 7: kind = 'sook' is not one of"),
    "no kind": (HEAD + RAMP + RULE, "line 5: 'kind' is missing"),
    "unknown require key": (
        HEAD + RAMP + RULE + 'kind = "ceiling"\nat_mots = 5\n',
        "line 8: unknown key 'at_mots'; did you mean 'at_most'?",
    ),
    "key of another kind": (
        HEAD + RAMP + RULE + 'kind = "ceiling"\nat_most = 900\nlasting = "1 h"\n',
        "line 9: unknown key 'lasting'",
    ),
    "unknown segment": (
        HEAD + RAMP + RULE + 'kind = "floor"\nat_least = 5\nsegment = "dwn"\n',
        "line 9: there is no segment 'dwn'; there are up",
    ),
    "duplicate requirement": (
        HEAD + RAMP + 2 * (RULE + 'kind = "gap"\nat_most = 60\n'),
        "line 10: the name 'r' is used twice",
    ),
    "window upside down": (
        HEAD + RAMP + RULE + 'kind = "ramp"\nat_most = 90\nbetween = [600, 500]\n',
        "line 9: between = [600, 500] runs downwards",
    ),
    "soak window": (
        HEAD + RAMP + RULE + 'kind = "soak"\nat_least = 900\nat_most = 800\nlasting = 60\n',
        "line 9: at_most must be above at_least",
    ),
    "ramp without limits": (HEAD + RAMP + RULE + 'kind = "ramp"\n', "at_most or at_least"),
    "share over one": (
        HEAD + RAMP + RULE + 'kind = "track"\nband = 9\nshare = 90\n',
        "line 9: share = 90",
    ),
    "half of heat work": (
        HEAD + RAMP + RULE + 'kind = "soak"\nat_least = 700\nlasting = 60\nactivation = 150\n',
        "line 10: heat work needs both",
    ),
    "not TOML": (HEAD + "segment = [", "not valid TOML"),
    "segment as a number": (HEAD + "segment = 5\n", "must be written as [[segment]] tables"),
    "channels as a number": (
        HEAD + RAMP + RULE + 'kind = "gap"\nat_most = 60\nchannels = 5\n',
        "line 9: channels = 5",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_refusals_name_file_line_and_remedy(case):
    """What cannot be meant is refused with the file, the line and what to do."""
    text, expected = REFUSED[case]
    with pytest.raises(ScheduleError) as refusal:
        parse(text)
    assert str(refusal.value).startswith("s.toml")
    assert expected in str(refusal.value)


def test_missing_file_is_one_sentence(tmp_path):
    """A schedule file that does not exist is an error of ours, not a traceback."""
    with pytest.raises(ScheduleError, match="cannot be read"):
        read_schedule(tmp_path / "none.toml")


@pytest.mark.parametrize("path", schedule_files(), ids=lambda path: path.stem)
def test_every_number_of_a_starter_schedule_has_a_source(path):
    """In the schedules that come with us each line with a number says where it is from.

    A source is a comment on the line or the ``source`` key of its table.
    """
    plan = read_schedule(path)
    assert plan.requirements
    blocks = path.read_text(encoding="utf-8").split("[[")[1:]
    for block in blocks:
        if "\nsource = " in block:
            continue
        for line in block.splitlines()[1:]:
            if "=" in line and any(char.isdigit() for char in line.split("#")[0].split("=")[1]):
                assert "#" in line, f"{path.name}: no source for {line!r}"


@pytest.mark.parametrize("path", schedule_files(), ids=lambda path: path.stem)
def test_starter_schedules_carry_their_caution(path):
    """Each starter schedule warns of what can hurt and defers to local codes."""
    caution = read_schedule(path).caution
    assert "Local codes" in caution
    assert "protects nobody" in caution
