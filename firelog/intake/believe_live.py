"""Which live readings can be believed: the judge of logger files, one reading at a time.

A file is judged with hindsight, a live reading at once, so a live jump is doubted until readings
near it follow; what they confirm is not taken back. Apart from that the two doors must agree, and
a property test over both holds them to it. Pure state.
"""

from __future__ import annotations

import numpy as np

from firelog.intake.believe import ABOVE_B_C, AGREE_K, CALM_C, CALM_K, LAST_ROWS, Believer
from firelog.readings import Quality

AGREE_SCANS = 3  # so many readings close together make a jump believable
HOLE_S = 45.0  # after so long without a good reading a kiln may be anywhere
_WINDOW = 64  # readings that say what step is usual


class StreamBeliever:
    """Judges one channel's readings as they arrive.

    ``letter`` is the thermocouple's type where it is known; ``jumps`` is False for what is dipped
    and drawn: nothing is then doubted for its jump alone.
    """

    def __init__(self, letter: str = "", *, jumps: bool = True) -> None:
        self._believer = Believer(letter, jumps)
        self._letter, self._jumps = letter, jumps
        self._calm: list[tuple[float, float]] = []  # good ones the believer was not told of yet
        self._good_c: float | None = None
        self._good_s = 0.0
        self._since_fault = 0  # good readings in a row
        self._strays_c: list[float] = []
        self._silent = (Quality.OK, 0)  # what stood instead of numbers, how often in a row

    def judge(self, value_c: float, raw: float, t_s: float) -> Quality:
        """Return the quality of a reading in °C at ``t_s`` [s]; ``raw`` is as written."""
        self._silent = (Quality.OK, 0)
        if self._is_calm(value_c):
            self._calm.append((value_c, raw))
            if len(self._calm) >= 2 * _WINDOW:
                self._tell_calm()
            self._believed(value_c, t_s)
            return Quality.OK
        self._tell_calm()
        codes = self._believer.judge(np.array([value_c]), raw=np.array([raw]))
        quality = Quality(int(codes[0]))
        if quality is Quality.OK:
            quality = self._doubted(value_c, t_s)
        if quality is Quality.OK:
            self._believed(value_c, t_s)
        else:
            self._since_fault = 0
        return quality

    def nothing(self, quality: Quality) -> None:
        """Take note of a word, or of nothing, where a reading was due."""
        self._since_fault = 0
        before, times = self._silent
        times = times + 1 if before is quality else 1
        self._silent = quality, times
        if times <= LAST_ROWS:  # that it goes on says no more
            self._tell_calm()
            self._believer.judge(np.array([np.nan]), np.array([quality], np.uint8))

    def _is_calm(self, value_c: float) -> bool:
        last = self._good_c
        if last is None or self._since_fault < LAST_ROWS:
            return False
        return CALM_C[0] < value_c < self._believer.calm_top_c and abs(value_c - last) < CALM_K

    def _tell_calm(self) -> None:
        if self._calm:
            values, raws = np.array(self._calm).T
            self._believer.judge(values, raw=raws)
            self._calm.clear()

    def _believed(self, value_c: float, t_s: float) -> None:
        self._good_c, self._good_s = value_c, t_s
        self._since_fault += 1
        self._strays_c.clear()

    def _doubted(self, value_c: float, t_s: float) -> Quality:
        """Return the quality of a reading that is far from the last good one, OK where it is not.

        A first reading above 1820 °C, where type B ends, is doubted as well: there most couples
        are only amplifiers.
        """
        if not self._jumps:
            return Quality.OK
        if self._good_c is None:
            if value_c <= ABOVE_B_C or self._letter == "C":
                return Quality.OK
            return Quality.OK if self._agreed(value_c) else Quality.SUSPECT
        # One that was wild a moment ago is back only where it was.
        limit_k = AGREE_K if self._strays_c else self._believer.far_k
        near = abs(value_c - self._good_c) <= limit_k
        if near or t_s - self._good_s > HOLE_S:
            return Quality.OK
        return Quality.OK if self._agreed(value_c) else Quality.SPIKE

    def _agreed(self, value_c: float) -> bool:
        if self._strays_c and abs(value_c - self._strays_c[-1]) > AGREE_K:
            self._strays_c.clear()
        self._strays_c.append(value_c)
        return len(self._strays_c) >= AGREE_SCANS
