"""What a notebook or a script is promised: open a foundry's record, look at it, judge, plot.

Reached as ``import firelog``; the package root lists all that is promised in ``__all__`` and
loads it when it is first asked for.
"""
