"""The words of the trade by which a call names a cause or a remedy, written before any was read.

A cause is named when its own words stand in the message (`CAUSES`, generous in synonyms). Its rank
is one more than the number of other suspects named before it (`SUSPECTS`), so that a list of
everything that could be wrong names only what stands first in it. Remedies are sought clause by
clause; a clause that denies ("do not turn it up") is no remedy.
"""

from __future__ import annotations

import re

COUPLE = r"(thermo-?couples?|couples?|probes?|sensors?|pyrometers?|'\w+'|wall|roof)"
DEAD = r"(out|off|failed|fails?|dead|gone|lost|broken|burn(ed|t)[- ]?out|blown|tripped|shut)"

CAUSES: dict[str, str] = {
    "not lit": r"(never|not|nobody|n't)\s+(yet\s+|been\s+|yet been\s+|has\s+)*(lit|fired|begun|"
    r"started|switched on|turned on|warmed|heated|come on|left)|unlit|not (on|running|"
    r"heating|warming)|is still cold|stays? cold|no heat|without heat|"
    r"(burner|kiln|elements?|heat|fire|programme?) (is |are )?(off|out)\b|"
    r"forgot\w*|(does|did|has) n[o']t (rise|risen|heat|warm|begin|begun|start)",
    "heat lost": rf"\b(burners?|flames?|fire|pilot|gas|fuel|elements?|heat|heating|power|mains|"
    rf"electricity|supply|contactor|fuse|breaker|phase)\b[^.;:!?]{{0,40}}\b{DEAD}\b|"
    r"\b(failed|dead|broken|burn(ed|t)[- ]?out|lost|no)\s+(\w+\s+)?(burners?|flame|"
    r"elements?|heat|power|mains|gas|fuel|fire)\b|flame[- ]?out|power (cut|failure|"
    r"outage|loss)|fuse|breaker|tripped|burner|elements?\b|gas (bottle|supply|"
    r"pressure)|\bmains\b|run out of gas|loss of heat|heating has stopped|"
    r"went out|gone out",
    "half heat": r"\b(one|half|part|some|single|another|either|second)\b[^.;!?]{0,30}\b(elements?|"
    r"burners?|banks?|circuits?|phases?|zones?|heat|power)\b|\b(elements?|burners?|"
    r"phase)\b|uneven|spread|one side|colder than|cold(er)? (top|bottom|zone|side)",
    "weak heat": r"\b(weak|low|too little|not enough|less|short of|lacks?|under-?powered|poor|worn|"
    r"old|ageing|aging|tired|insufficient)\b[^.;!?]{0,30}\b(heat|power|gas|pressure|"
    r"fuel|voltage|elements?|burners?)\b|\b(heat|power|gas|pressure|fuel|voltage|"
    r"elements?|burners?|phase|mains)\b|cannot (reach|keep)|full power",
    "door": r"\b(doors?|lids?|vents?|dampers?|spy ?holes?|peep ?holes?|plugs?)\b",
    "stuck programme": r"(programme?|controller|schedule|segment|hold|step|soak|ramp|'[^']+')"
    r"[^.;!?]{0,60}\b(stuck|hangs?|hung|halted|stopped|paused?|held|waits?|"
    r"waiting|not (moved|gone|left|begun|ended|advanced|started)|never|still|"
    r"frozen|over-?due|should have|late|stands?|stalled)\b|\b(stuck|hangs?|hung|"
    r"paused|waiting|still)\b[^.;!?]{0,40}(programme?|controller|hold|segment|"
    r"step|'[^']+')|advance the|to the next (segment|step)|has not left|"
    r"should have (left|ended|begun|moved)|guaranteed soak|hold-?back",
    "set point": r"set[- ]?points?|set (too )?(low|high)|wrong(ly)? (set|programme?d?|temperature|"
    r"entered)|(programme?|controller)[^.;!?]{0,50}(set|entered|aims?|asks?|low|high|"
    r"wrong|differs?|other|below|above|check)|mis-?typed|typing|typo|"
    r"(holds?|settled|stands?|levelled|steady)[^.;!?]{0,50}(below|under|short of|"
    r"above|over|instead|lower|higher|too)|check (the )?(programme?|controller)",
    "runaway": r"run(s|ning)?[- ]?away|contactors?|relays?|\bssr\b|solenoid|gas valve|valve stuck|"
    r"stuck on|welded|(will|does|did) ?n[o']t (switch|shut|turn|go) off|out of control|"
    r"(controller|control)[^.;!?]{0,40}(lost|fail|faulty|not|no longer|stuck|dead)|"
    r"keeps? (heating|rising|climbing)|full (power|heat|fire)|heat(ing)? (is )?stuck|"
    r"heats? (on )?(without|past|beyond)",
    "too fast": r"too (fast|quick|steep)|faster than|steep|quicker than|(rises?|rising|climb\w*|"
    r"heating|heats|ramp\w*)[^.;!?]{0,60}(fast|limit|at most|allowed|more than|above|"
    r"over)|rate[^.;!?]{0,40}(above|over|exceed|limit|high|more)",
    "overshoot": r"over-?sh(oot|ot)|beyond|too hot|too warm|over-?(heat|fire|temperature)|"
    r"hotter than|above[^.;!?]{0,50}(limit|ceiling|allowed|at most|aim|highest|\d)|"
    r"exceed|over (the )?(limit|ceiling)|over \d|not too hot|plaster|never above",
    "too warm": r"too (hot|warm|high)|hotter than|warmer than|above[^.;!?]{0,40}(aim|plan|target|"
    r"schedule|band|asked|\d)|over-?(heat|fire)|higher than",
    "hunting": r"hunt|oscillat|swing|cycl|up and down|unstable|unsteady|tun(ing|ed)|wander|"
    r"to and fro|see-?saw|restless|ripple|contactor|controller|control",
    "moved on": r"(too|so) (soon|early|short)|cut short|not (long|been held|held|reached|met|"
    r"complete|kept|soaked|finished)|(left|ended|moved on|leaves|stopped)[^.;!?]{0,40}"
    r"(early|before|soon|short|after only|instead)|skipped|passed over|short (hold|"
    r"soak)|before (its|the) (hold|time|soak)|only [^.;!?]{0,30}(of|instead)|"
    r"programme?|never reached|was not reached|hold was|missed",
    "cools fast": r"(cool|fall|drop|sink|lower|los)\w*[^.;!?]{0,60}(fast|quick|steep|limit|rate|"
    r"K/h|°[CF]/h|F°/h|shock|more than|at most)|too (fast|quick|steep)|faster than|"
    r"thermal shock|crack|\bdoors?\b|\bvents?\b|damper",
    "stuck couple": r"stuck|frozen|froze|flat|(does|did|has|is|do) ?n[o']t (mov|chang|follow|rise|"
    r"risen|alter)\w*|not moving|unchanged|same (value|reading|number|figure)|"
    r"identical|stands still|constant|dead|repeats?|(no|without) change|"
    r"hang(s|ing)|motionless",
    "reversed": r"revers\w*|polarity|back(wards|-?to-?front)|wrong way|(leads?|wires?|legs?|"
    r"terminals?|plus|minus|\+)[^.;!?]{0,30}(swap|cross|exchang|interchang|chang|mixed|"
    r"wrong|turned|minus|-)\w*|(falls?|falling|drops?|goes down|sinks?|colder|moves)"
    r"[^.;!?]{0,50}(as|while|when|although|though|against|opposite)",
    "swapped": r"swap\w*|exchang\w*|interchang\w*|mixed up|mix-?up|crossed|(wrong|other|another|"
    r"next|different|neighbou?r\w*|'?south kiln'?) (kiln|channel|input|terminal|socket)|"
    r"belongs? to (another|the other)|plugged into|neighbou?r|south kiln|each other's",
    "reads low": rf"reads? (\w+ ){{0,3}}(low|below|less|under|too little|colder)|too low|disagree|"
    rf"(apart|differ\w*|below|under|lower than|colder than|short of|off by|behind)"
    rf"[^.;!?]{{0,60}}|compensat|short(ed|[- ]circuit)|shunt|wrong (type|cable)|"
    rf"{COUPLE}[^.;!?]{{0,50}}(wrong|doubt|faulty|suspect|"
    r"not (be )?(believ|trust)\w*)",
    "drift": r"drift\w*|creep\w*|age?ing|wander\w*|growing|grows|more and more|slowly|apart|"
    r"differ\w*|disagree|reads? (too )?low|below|contradict|not (be )?(believ|trust)",
    "fallen out": r"(fallen|fell|falls|pulled|slipped|slid|come|came|pushed|knocked|hang\w*|moved|"
    r"dropped|worked)( \w+)? (out|loose|off|back)|out of (the|its|his|place|position|"
    r"\w+ kiln|\w+ wall)|outside (the|of|its)|no longer (in|inside|sees|sits)|"
    r"dis-?lodged|not in (the kiln|its|place)|(faster|quicker) than[^.;!?]{0,40}"
    r"(kiln|cool|can)|withdrawn|lies? outside|in the (room|air)",
    "open couple": r"(open|broken|interrupted)[- ](circuit|wire|lead|couple|thermocouple|loop)|"
    rf"{COUPLE}[^.;!?]{{0,40}}\b(open|broken|burn(ed|t) (out|through)|disconnected|"
    r"unplugged|loose|silent|lost|gone|no readings?|dead|missing|failed|blind)\b|"
    r"(loose|broken) (terminal|connection|contact|wire|plug|lead)|no (reading|value|"
    r"signal)s?|burn(ed|t) (out|through)|unplugged|disconnected|loose|intermittent",
    "unit": r"fahrenheit|celsius|centigrade|\bunits?\b|°\s?F\b[^.;!?]{0,40}(as|for|not|or|instead|"
    r"taken|read)[^.;!?]{0,20}°\s?C\b|°\s?C\b[^.;!?]{0,40}(as|for|not|or|instead|taken|"
    r"read)[^.;!?]{0,20}°\s?F\b|degrees (F|C)\b",
    "silence": r"no (\w+ )?(reading|data|value|scan|signal|word|news)s?|silen(t|ce)|nothing "
    r"(is |has been |was )?(being )?(recorded|heard|received|arriv\w*|com\w*|stored)|"
    r"stopped (sending|talking|recording|writing)|logger|cables?|collector|"
    r"(last|newest) reading|readings? (\w+ )?(stop|ceas|end)\w*|not heard|deaf|blind|"
    r"no longer (recorded|read|heard)|since \d[^.;!?]{0,20} nothing|power (cut|failure)|"
    r"unplugged|disconnected|lost (the )?connection",
    "clock": r"clocks?|time ?-?stamps?|jump\w*|\bgaps?\b|\bholes?\b|missing (time|hour)|"
    r"no (\w+ )?(reading|data)s?|silen(t|ce)|nothing (is )?(being )?(recorded|heard)|"
    r"logger",
    "not ended": r"not (\w+ )?(been )?(ended|closed|finished|stopped|switched off|turned off)|"
    r"(nobody|no one|no-one) (has )?(ended|come|switched|closed|took|taken)|forgot\w*|"
    r"still (\w+ )?(hot|on|running|open|holding|heat\w*|fir\w*|kept|burning)|"
    r"left on|end (it|the firing|this firing)|firings end|over-?due|"
    r"(over|complete|done|ready|finished)[^.;!?]{0,40}(since|for|ago)|goes on|"
    r"keeps? (on )?(holding|heating|burning)",
    "no firing": r"(no|without|outside|not)( \w+){0,3} (firing|schedule|run)|unwatched|unattended|"
    r"nobody (has )?(begun|entered|started|expects?)|(not|never) (been )?(entered|"
    r"begun|announced|declared)|firings? add|unexpected|begin (a|the) firing",
}

SUSPECTS: dict[str, str] = {
    "door": r"\b(doors?|lids?|vents?|dampers?)\b",
    "fire": r"\b(burners?|flames?|fire out|pilot|gas|fuel)\b",
    "elements": r"\belements?\b",
    "mains": r"\b(mains|power cut|power failure|breakers?|fuses?|electricity|phase)\b",
    "contactor": r"\b(contactors?|relays?|ssr|welded|valve)\b",
    "controller": r"\b(controllers?|programme?s?|set[- ]?points?)\b",
    "couple": r"\b(thermo-?couples?|couples?|probes?|sensors?)\b",
    "wiring": r"\b(polarity|revers\w+|swapped|leads?|wires?|terminals?)\b",
    "unit": r"\b(fahrenheit|celsius|units?)\b",
    "logger": r"\b(loggers?|cables?|collector|usb|laptop|computer)\b",
    "clock": r"\b(clocks?|time ?stamps?)\b",
    "load": r"\b(load|damp|water|wet|wax)\b",
}

BELONGS: dict[str, set[str]] = {  # the suspects that are the cause itself, or say the same
    "not lit": {"fire", "elements", "mains", "contactor", "controller"},
    "heat lost": {"fire", "elements", "mains", "contactor"},
    "half heat": {"fire", "elements", "mains", "contactor"},
    "weak heat": {"fire", "elements", "mains"},
    "door": {"door"},
    "stuck programme": {"controller"},
    "set point": {"controller"},
    "runaway": {"contactor", "controller", "fire"},
    "too fast": {"controller"},
    "overshoot": {"controller"},
    "too warm": {"controller"},
    "hunting": {"controller", "contactor"},
    "moved on": {"controller"},
    "cools fast": {"door", "controller"},
    "stuck couple": {"couple", "logger", "wiring"},
    "reversed": {"couple", "wiring"},
    "swapped": {"couple", "wiring"},
    "reads low": {"couple", "wiring"},
    "drift": {"couple"},
    "fallen out": {"couple"},
    "open couple": {"couple", "wiring", "logger"},
    "unit": {"unit", "logger"},
    "silence": {"logger", "mains", "wiring"},
    "clock": {"clock", "logger"},
    "not ended": set(),
    "no firing": set(),
}

THEN = r"(?:^|[.;:,!?]\s*|\b(?:and|then|to|or|please)\s+)"  # a verb that asks, not an adjective
HEATS = r"(heat|temperature|power|set[- ]?points?|gas|flame|fire|kiln|burners?|elements?|it)"

REMEDIES: dict[str, str] = {
    "add heat": r"\b(turn|bring|set(?![- ]?points?))\b[^.;!?]{0,40}\b(up|higher|hotter)\b|"
    rf"{THEN}(raise|increase|boost)\b[^.;!?]{{0,40}}\b{HEATS}\b|"
    r"\b(give|needs?|add)\b[^.;!?]{0,15}\b(more )?(heat|gas|power|fuel)\b|"
    rf"{THEN}open (the )?(gas|fuel|valve)\b",
    "relight": r"\b(re)?-?light\b[^.;!?]{0,30}\b(burners?|kiln|fire|it|flame|pilot|gas)\b|"
    rf"\bre-?start (the )?{HEATS}\b|\b(burners?|elements?|kiln|heat)\b"
    r"(?![^.;!?]{0,20}(stuck|still|stay|left|kept|remain|all))[^.;!?,]{0,25}\bon\b"
    r"(?! (fire|hold|its|the|which|that|a|an|your|schedule|plan|time|track|course|\d))|"
    r"\b(switch|turn)\b[^.;!?]{0,25}\b(kiln|heat|burners?|elements?|it)? ?\bon\b",
    "cut heat": r"\b(turn|switch)\b[^.;!?,]{0,40}\b(off|down|lower)\b|"
    r"\bshut (it |them |the \w+ )?(off|down)\b|\bput (it|the fire) out\b|"
    r"\bcut (the |off )?(power|heat|gas|mains)|"
    rf"{THEN}(lower|reduce)\b[^.;!?]{{0,40}}\b{HEATS}\b|\bisolate\b|"
    r"\bunplug the (kiln|controller)\b|\blet it cool\b",
    "cool": r"\b(turn|set(?![- ]?points?))\b[^.;!?,]{0,40}\b(down|lower)\b|"
    rf"{THEN}(lower|reduce)\b[^.;!?]{{0,40}}\b{HEATS}\b|"
    r"\bopen (the )?(door|lid|vents?|damper)\b|\bcool (it|the kiln)\b|\blet it cool\b|"
    r"\bvent the kiln\b",
    "open": r"\bopen (the )?(door|lid|vents?|damper)\b|\bcool (it|the kiln) (fast|down)\b",
    "pour": r"\bpour (now|it|them|the)\b|\bready\b[^.;!?]{0,30}\b(pour|cast)|"
    r"\btake (the )?(moulds?|shells?|them|it) out\b|\bunload\b|\. ?pour\b|^pour\b|"
    r"\bready\. ?pour",
}

DENIES = r"\b(not|never|n't|no need|without|rather than|instead of|neither|nor|before you|until)\b"
MAYBE = (
    r"\b(if|when|should|unless|once|only|in case|whether|else|otherwise|"
    r"before)\b"
)


def clauses(text: str) -> list[str]:
    """Split a message into sentences and lines."""
    return [c.strip() for c in re.split(r"(?<=[.;!?])\s+|\n", text) if c.strip()]


def rank(text: str, causes: tuple[str, ...]) -> int | None:
    """Return the place at which one of the causes is named (1 first), or None if none is."""
    best = None
    for cause in causes:
        found = re.search(CAUSES[cause], text, re.IGNORECASE)
        if not found:
            continue
        others = sum(
            1
            for suspect, words in SUSPECTS.items()
            if suspect not in BELONGS[cause]
            and (hit := re.search(words, text, re.IGNORECASE))
            and hit.start() < found.start()
        )
        best = others + 1 if best is None else min(best, others + 1)
    return best


def advises(text: str, remedy: str, *, even_if: bool) -> str | None:
    """Return the clause in which the text advises the remedy, or None.

    With `even_if` a clause that only asks for it on a condition ("if ...") counts too.
    """
    for clause in clauses(text):
        found = re.search(REMEDIES[remedy], clause, re.IGNORECASE)
        if not found or re.search(DENIES, clause[: found.end()], re.IGNORECASE):
            continue
        if not even_if and re.search(MAYBE, clause, re.IGNORECASE):
            continue
        return clause
    return None
