"""firelog: the kiln-burnout and metal-melt log of a lost-wax bronze foundry.

Readings walk one way through the package: intake -> record -> schedule -> verdicts -> board.
Import the module you need; this package root holds the version and nothing else.
"""

__version__ = "0.1.0"
