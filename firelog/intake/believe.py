"""Which single readings can be believed: one judge for logger files and for live lines.

Pure and vectorised: no disk, no clock. A word that stands where a number was due becomes a quality
(:func:`quality_of_word`), and so does a number that says by itself, or by its neighbours, that it
is no temperature (:class:`Believer`, :func:`judge_values`): codes for "nothing there", the ends of
thermocouple types' scales, a couple that dies or flickers, a value lost for a row.

The words and codes are common practice, no source. The ranges of the types are those of
IEC 60584-1:2013, Table 1 ff.: type K ends at 1372 °C and starts at -270 °C, type B ends at 1820 °C;
type C (ASTM E230/E230M) ends at 2315 °C. All limits below that are no such range (jumps, counts of
rows) are common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray, Quality, QualityArray, median

Mask = NDArray[np.bool_]

# ---------------------------------------------------------------- words
_OPEN = (
    "open|opn|open tc|tc open|open t/c|t/c open|open circuit|open sensor|sensor open|open input|"
    "o.c.|oc|o/c|burnout|burn-out|burn out|broken|sensor break|sensor broken|break|brk|s.br|sbr|"
    "disconnected|not connected|unconnected|unplugged|no probe|no sensor|no input|no couple|no tc|"
    "nc|n/c|detached"
)
_SHORTED = "short|shorted|short circuit|shorted sensor|short gnd|short vcc|scg|scv|s.c.|s/c"
_SATURATED = (
    "over|ovr|over range|overrange|over-range|overload|ovld|ovf|ovfl|ovrng|overflow|ol|+ol|-ol|"
    "o.l|o.l.|0l|0.l|+over|-over|over scale|overscale|out of range|under|under range|underrange|"
    "under-range|underflow|unf|udr|ur|inf|+inf|-inf|infinity|1.#inf|>>>>|<<<<|hi|lo|hhhh|llll|hhh|"
    "lll|uuuu|nnnn"
)
_MISSING = (
    "nan|-nan|+nan|1.#qnan|1.#ind|na|n/a|n.a.|none|null|nil|missing|miss|not available|*|**|***|"
    "****|*****|?|??|???|.|x|xxx|xxxx|err|error|err.|fault|fail|failed|failure|invalid|bad|"
    "no data|nodata|no reading|no value|void|blank|empty|off|offline|timeout|time out|#n/a|#na|"
    "#value!|#ref!|#div/0!|#num!|#null!|#name?|#wert!|#nv|#zahl!|bad input|i/o timeout|comm fail|"
    "comm err|pending|skip|skipped|undef|undefined"
)
_WORDS: dict[str, Quality] = {
    **dict.fromkeys(_MISSING.split("|"), Quality.MISSING),
    **dict.fromkeys(_SATURATED.split("|"), Quality.SATURATED),
    **dict.fromkeys(_SHORTED.split("|"), Quality.SHORTED),
    **dict.fromkeys(_OPEN.split("|"), Quality.OPEN),
}
_DASHES = re.compile(r"[-–—_]+(?:[.,][-–—_]*)?")
_ERROR_CODE = re.compile(r"(?:err(?:or)?|fault|e)[ .:_#-]*\d{1,4}")
_UNIT_TAIL = re.compile(r"\s*(?:[°º]\s?[cfk]|℃|℉)$")
_LONGEST_WORD = 24


def quality_of_word(text: str) -> Quality | None:
    """Return what a field without a number says of its reading; None when nobody knows the word.

    Case, runs of blanks, a unit behind it and brackets or stars around it do not count. A blank
    field, and one of dashes, is missing.

    >>> quality_of_word("Open TC"), quality_of_word("----"), quality_of_word("door opened")
    (<Quality.OPEN: 1>, <Quality.MISSING: 6>, None)
    """
    if len(text) > _LONGEST_WORD:
        return None
    bare = " ".join(text.lower().split())
    bare = _UNIT_TAIL.sub("", bare)
    if not bare or _DASHES.fullmatch(bare):
        return Quality.MISSING
    known = _WORDS.get(bare)
    if known is None:
        inner = bare.strip("*<>[]()\"'! ")
        known = _WORDS.get(inner) if inner else None
        if known is None and _ERROR_CODE.fullmatch(inner):
            known = Quality.MISSING
    return known


# ---------------------------------------------------------------- numbers
# Codes for "nothing there", in whatever unit the instrument writes.
MISSING_CODES = np.array(
    (
        *(-99.0, -99.9, -99.99, -100.0, -127.0, -199.0, -200.0, -222.0, -242.0, -888.0, -888.8),
        *(-999.0, -999.9, -999.99, -9999.0, -9999.9, -9999.99, -99999.0, -32768.0, -32767.0),
        *(-3276.8, -3276.7, -327.68, -327.67, -6999.0, -7999.0, -8888.0),
    )
)
OVER_CODES = np.array(
    (
        *(3276.7, 6553.5, 7999.0, 8888.0, 8888.8, 9999.0, 9999.9, 9999.99, 10000.0, 32767.0),
        *(32768.0, 65535.0, 99999.0, 100000.0),
    )
)
ABSOLUTE_ZERO_C = -273.15
NEVER_C = 2400.0  # above type C, the hottest couple of the standards
ABOVE_B_C = 1820.0
# Ends of the types' scales in °C that no kiln and no melt of a foundry stands at by chance.
_ENDS_C = np.array((-270.0, -210.0, 1372.0, 1768.0, 1820.0, 2300.0, 2315.0, 2320.0))
_END_BY_LETTER: dict[str, float] = {
    **dict.fromkeys("RS", 1768.0),
    "B": 1820.0,
    "C": 2315.0,
    "E": 1000.0,
    "J": 1200.0,
    "K": 1372.0,
    "N": 1300.0,
    "T": 400.0,
}
_AT_END_K = 0.6  # so near to an end, a value stands at it
_NEAR_END_K = 7.0  # so near, and come there by a jump, it is thrown there
_JUMP_K = 200.0  # more between two rows than a kiln can do, unless the trace is wild throughout
_WILD = 8.0  # a jump is also this many times the usual step of the trace
_FAR_K = 20.0  # a code stands at least this far from anything measured
CALM_K = 100.0  # steps below this need no closer look
CALM_C = (-70.0, 1360.0)  # nor do readings between these: no code is there in any unit
AGREE_K = 50.0  # readings that follow each other nearer than this bear each other out
_STEADY_ROWS = 3
LAST_ROWS = 5
_TAIL = 12  # rows remembered from one call to the next
_LOST_ROWS = 3  # a value lost for more rows than this is no slip


@dataclass
class Believer:
    """Judges one channel's readings in order; remembers the last rows between calls.

    ``letter`` is the thermocouple's type where it is known, "" where not; ``jumps`` is False for
    what is dipped and drawn (lances, crucibles): nothing is then a spike for its jump alone.
    """

    letter: str = ""
    jumps: bool = True
    _value: FloatArray = field(default_factory=lambda: np.empty(0))
    _raw: FloatArray = field(default_factory=lambda: np.empty(0))
    _quality: QualityArray = field(default_factory=lambda: np.empty(0, np.uint8))
    _measured: FloatArray = field(default_factory=lambda: np.empty(0))  # for its usual step

    def judge(
        self,
        value_c: FloatArray,
        said: QualityArray | None = None,
        raw: FloatArray | None = None,
        blank: Mask | None = None,
    ) -> QualityArray:
        """Return the quality codes of readings in °C (NaN: none), in the order they were taken.

        ``said`` holds what words beside them said (OK where nothing), ``raw`` the numbers as
        written, for codes; by default the same as ``value_c``. ``blank`` is True where nothing at
        all stood: that says nothing of the reading before it.
        """
        raw = value_c if raw is None else raw
        good = value_c if said is None else value_c[said == Quality.OK]
        if self._calm(good):  # what stands between readings that are calm says nothing of them
            calm = np.zeros(len(value_c), np.uint8) if said is None else said.astype(np.uint8)
            self._remember(value_c, raw, calm, good)
            return calm
        before = len(self._value)
        value = np.concatenate((self._value, value_c))
        first = _by_size(value, np.concatenate((self._raw, raw)))[before:]
        if said is not None:
            first = np.where(said != Quality.OK, said, first).astype(np.uint8)
        quality = np.concatenate((self._quality, first))
        told = quality != Quality.OK
        if blank is not None:
            told[before:] &= ~blank
        self._by_neighbours(value, quality, told, fresh=before == 0)
        judged = quality[before:]
        self._remember(value_c, raw, judged, value_c[judged == Quality.OK])
        return judged

    def _calm(self, value_c: FloatArray) -> bool:
        """A cheap look: True when nothing in it can be anything but a temperature."""
        if not len(value_c):
            return True
        low, high = float(value_c.min()), float(value_c.max())  # NaN fails the comparison
        if not (low > CALM_C[0] and high < self.calm_top_c):
            return False
        if len(self._value) and (self._quality[-LAST_ROWS:] != Quality.OK).any():
            return False
        last = float(self._value[-1]) if len(self._value) else float(value_c[0])
        if not abs(float(value_c[0]) - last) < CALM_K:
            return False
        if high - low < CALM_K or len(value_c) == 1:
            return True
        steps = value_c[1:] - value_c[:-1]
        return bool(steps.max() < CALM_K and steps.min() > -CALM_K)

    @property
    def calm_top_c(self) -> float:
        """Below this nothing stands at an end of the couple's scale."""
        return min(_END_BY_LETTER.get(self.letter, 1372.0) - _NEAR_END_K, CALM_C[1])

    @property
    def far_k(self) -> float:
        """What counts as a jump from one reading to the next, after what was judged so far."""
        return max(_JUMP_K, _WILD * self._usual_step_k(np.empty(0)))

    def _remember(
        self, value: FloatArray, raw: FloatArray, quality: QualityArray, good: FloatArray
    ) -> None:
        if len(good) > _TAIL:
            self._measured = good
        self._value = np.concatenate((self._value, value[-_TAIL:]))[-_TAIL:]
        self._raw = np.concatenate((self._raw, raw[-_TAIL:]))[-_TAIL:]
        self._quality = np.concatenate((self._quality, quality[-_TAIL:]))[-_TAIL:]

    def _usual_step_k(self, good: FloatArray) -> float:
        """Return the step usual among good readings; few of them say less than those before."""
        known = good if len(good) > _TAIL + 1 else self._measured
        return median(np.abs(np.diff(known))) if len(known) > _TAIL else 0.0

    # ------------------------------------------------------------ what neighbours say
    def _by_neighbours(
        self, value: FloatArray, quality: QualityArray, told: Mask, *, fresh: bool
    ) -> None:
        good = quality == Quality.OK
        if not good.any():
            return
        far = max(_JUMP_K, _WILD * self._usual_step_k(value[good]))
        self._thrown_to_the_end(value, quality, far, fresh=fresh)
        _steady_above_all(value, quality, far, fresh=fresh)
        if self.jumps:
            _last_gasp(value, quality, told | (quality == Quality.OPEN), far)
        _lost_for_a_row(value, quality, far, jumps=self.jumps)
        _between_faults(value, quality, far)

    def _thrown_to_the_end(
        self, value: FloatArray, quality: QualityArray, far: float, *, fresh: bool
    ) -> None:
        """Mark what stands at the end of a scale without having climbed there."""
        ends = _ENDS_C
        if self.letter in _END_BY_LETTER:
            ends = np.append(ends[ends < 0], _END_BY_LETTER[self.letter])
        usable = np.isfinite(value) & (quality == Quality.OK)
        if not (
            (value[usable] > ends[ends > 0].min() - _NEAR_END_K) | (value[usable] < -200.0)
        ).any():
            return
        away = np.full(len(value), np.inf)
        away[usable] = np.abs(value[usable, None] - ends).min(axis=1)
        for run in _runs(away <= _NEAR_END_K):
            before = _last_good(value, quality, run.start)
            at_end = bool((away[run] <= _AT_END_K).any())
            if before is None:
                thrown = fresh and at_end and run.stop - run.start >= _STEADY_ROWS
                thrown = thrown and float(np.ptp(value[run])) <= 2 * _AT_END_K
                thrown = thrown or (not fresh and bool((quality[: run.start] != 0).any()))
            else:
                stays = at_end or run.stop - run.start > 1
                thrown = stays and abs(float(value[run.start]) - before) > far
            if thrown:
                quality[run] = Quality.OPEN


def judge_values(
    t_s: FloatArray,
    value_c: FloatArray,
    letter: str = "",
    state: Believer | None = None,
) -> QualityArray:
    """Return quality codes of readings in °C at seconds ``t_s``, in the order they were taken.

    ``letter`` is the thermocouple's type or "". ``state`` carries the last rows from call to call;
    without it the readings stand alone. Equal lengths are needed; raises :class:`ValueError`.
    """
    if len(t_s) != len(value_c):
        raise ValueError("t_s and value_c must have the same length")
    return (state or Believer(letter)).judge(value_c)


def is_code(value: FloatArray) -> Mask:
    """True for the numbers that instruments write for nothing, whether they mean it or not."""
    return np.isin(value, MISSING_CODES) | np.isin(value, OVER_CODES)


def _by_size(value_c: FloatArray, raw: FloatArray) -> QualityArray:
    """Return the quality that each number has for its size alone; NaN is missing."""
    result = np.zeros(len(value_c), np.uint8)
    with np.errstate(invalid="ignore"):
        result[value_c > NEVER_C] = Quality.SATURATED
        result[(value_c < ABSOLUTE_ZERO_C + 1e-6) | np.isnan(value_c)] = Quality.MISSING
        low, high = np.nanmin(raw, initial=0.0), np.nanmax(raw, initial=0.0)
        if low <= -99.0 or high >= 3276.7:
            _mark_codes(result, raw)
        shifted = raw - value_c  # kelvin: a column filled with 273.15 is a column of nothing
        fill = (np.abs(raw + ABSOLUTE_ZERO_C) < 1e-9) & (np.abs(shifted + ABSOLUTE_ZERO_C) < 1e-6)
        if fill.any() and not ((np.abs(raw + ABSOLUTE_ZERO_C) < 5.0) & ~fill).any():
            result[fill] = Quality.MISSING
    return result


def _mark_codes(result: QualityArray, raw: FloatArray) -> None:
    known = is_code(raw)
    for quality, numbers in ((Quality.MISSING, MISSING_CODES), (Quality.SATURATED, OVER_CODES)):
        for code in np.intersect1d(numbers, raw):
            same = raw == code
            if not ((np.abs(raw - code) < _FAR_K) & ~same & ~known).any():
                result[same] = quality


def _runs(mask: Mask) -> list[slice]:
    """Return where stretches of True begin and end."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _last_good(value: FloatArray, quality: QualityArray, row: int) -> float | None:
    """Return the last believed value before ``row``; None when there is none."""
    good = np.flatnonzero((quality[:row] == Quality.OK) & np.isfinite(value[:row]))
    return float(value[good[-1]]) if len(good) else None


def _steady_above_all(value: FloatArray, quality: QualityArray, far: float, *, fresh: bool) -> None:
    """Mark as open what stands still above 1820 °C, or was thrown up there."""
    with np.errstate(invalid="ignore"):
        hot = (value > ABOVE_B_C) & (quality == Quality.OK)
    for run in _runs(hot):
        before = _last_good(value, quality, run.start)
        here = value[run]
        still = len(here) >= _STEADY_ROWS and float(np.ptp(here)) <= 1.0
        same = len(here) >= _STEADY_ROWS and bool(
            ((here[2:] == here[1:-1]) & (here[1:-1] == here[:-2])).any()
        )
        again = run.start > 0 and bool(quality[run.start - 1] == Quality.OPEN)
        thrown = before is not None and abs(float(here[0]) - before) > far
        if thrown or again or (still and (fresh or before is None)):
            quality[run] = Quality.OPEN
        elif same:
            _mark_repeats(here, quality[run])


def _mark_repeats(value: FloatArray, quality: QualityArray) -> None:
    """Mark as open what is repeated to the last digit three times or more."""
    same = np.concatenate(([False], value[1:] == value[:-1], [False]))
    edges = np.flatnonzero(~same)
    lengths = np.repeat(np.diff(edges), np.diff(edges))
    quality[lengths >= _STEADY_ROWS] = Quality.OPEN


def _lost_for_a_row(value: FloatArray, quality: QualityArray, far: float, *, jumps: bool) -> None:
    """Mark values that leave the trace by a jump and are back where it was within a few rows.

    Zeros are lost values (missing), others spikes: one or two of them, and more where none is near
    the one before.
    """
    rows = np.flatnonzero((quality == Quality.OK) & np.isfinite(value))
    trace = value[rows]
    at = np.flatnonzero(np.abs(np.diff(trace)) > far)
    for left in at.tolist():
        start = trace[left]
        if quality[rows[left]] != Quality.OK:
            continue
        for length in range(1, LAST_ROWS + 1):
            back = left + length + 1
            if back >= len(trace):
                break
            gone = trace[left + 1 : back]
            leap = float(np.abs(gone - start).min())
            near = abs(float(trace[back]) - float(start)) <= min(0.1 * leap + 5.0, 0.25 * far)
            if not near or leap <= far:
                continue
            wild = length <= 2 or bool((np.abs(np.diff(gone)) > AGREE_K).all())
            if (gone == 0.0).all() and length <= _LOST_ROWS:
                quality[rows[left + 1 : back]] = Quality.MISSING
            elif jumps and wild:
                quality[rows[left + 1 : back]] = Quality.SPIKE
            break


def _between_faults(value: FloatArray, quality: QualityArray, far: float) -> None:
    """Mark wild values that stand for a row or two between rows of an open couple."""
    opened = np.flatnonzero(quality == Quality.OPEN)
    for left, right in zip(opened[:-1].tolist(), opened[1:].tolist(), strict=True):
        if not 1 < right - left <= _LOST_ROWS:
            continue
        before = _last_good(value, quality, left)
        for row in range(left + 1, right):
            wild = before is not None and abs(float(value[row]) - before) > far
            if quality[row] == Quality.OK and wild:
                quality[row] = Quality.SPIKE


def _last_gasp(value: FloatArray, quality: QualityArray, gone: Mask, far: float) -> None:
    """Mark as spikes the wild values just before a couple turns into words or is open.

    A dying couple jumps away from what it showed, then the instrument gives up: the jump was never
    a temperature.
    """
    if not (np.abs(np.diff(value)) > far).any():
        return
    calm = np.zeros(len(value), bool)  # like the row before it, so fit to be jumped away from
    calm[1:] = np.abs(np.diff(value)) <= far
    for first in (np.flatnonzero(gone[1:] & ~gone[:-1]) + 1).tolist():
        for row in range(first - 1, max(first - 1 - LAST_ROWS, 0), -1):
            if quality[row] != Quality.OK or np.isnan(value[row - 1]):
                break
            leap = abs(value[row] - value[row - 1]) > far
            if leap and calm[row - 1] and quality[row - 1] == Quality.OK:
                spikes = quality[row:first]
                spikes[spikes == Quality.OK] = Quality.SPIKE
                break
