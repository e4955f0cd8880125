"""How numbers, limits, times and verdicts are said, the same in a terminal, on the board, in a
report and in a message. Plain values only: nothing here knows a schedule, a store or a page.

Decided once, for every reader:

- A temperature is in the reader's unit: ``1600 °F``, ``871 °C``.
- A difference is in the reader's degrees: kelvin for whoever reads °C or K, ``°F`` for whoever
  reads °F, as rates are (``15 K``, ``300 K/h``; ``27 °F``, ``540 °F/h``). It never stands alone: a
  word or a sign beside it says that it is a difference (``± 27 °F``, ``27 °F apart``, ``27 °F
  above``).
- An uncertainty follows its number, ``1013 °C ± 9.0 K``; ``± ?`` where none can be stated.
- A limit has its sense: ``at most 270 °F/h``, ``1100 °F within 15 min``.
- A duration is as short as says enough (``45 s``, ``12 min``, ``3 h 05 min``); around a pour the
  seconds matter (``3 min 14 s``).
- A verdict is a word with a shape; colour only repeats it.
"""
