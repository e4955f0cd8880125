"""The invented foundry of the demo: Heron Yard Bronze, two kilns and a melting furnace."""

from __future__ import annotations

from firelog.foundry import FoundryFile, parse_foundry

FOUNDRY_TOML = """
name = "Heron Yard Bronze"
timezone = "America/Denver"
unit = "F"

[[channel]]
kiln = "shell kiln"
name = "kiln top"
type = "K"
class = 1

[[channel]]
kiln = "shell kiln"
name = "kiln bottom"
type = "K"
class = 1

[[channel]]
kiln = "shell kiln"
name = "mould"
role = "mould"
type = "K"
class = 1

[[channel]]
kiln = "block kiln"
name = "kiln top"
type = "K"
class = 1

[[channel]]
kiln = "block kiln"
name = "kiln bottom"
type = "K"
class = 1

[[channel]]
kiln = "block kiln"
name = "mould"
role = "mould"
type = "K"
class = 1

[[channel]]
kiln = "melt furnace"
name = "furnace"
role = "kiln"
type = "S"

[[channel]]
kiln = "melt furnace"
name = "crucible"
role = "crucible"
type = "S"

[[channel]]
kiln = "melt furnace"
name = "lance"
role = "lance"
type = "S"

[[source]]
name = "kiln box"
kiln = "shell kiln"
port = "PORT"
columns = ["time", "kiln top", "kiln bottom", "mould"]
"""


def heron_yard(port: str = "PORT") -> FoundryFile:
    """Return the foundry with its live source at ``port``."""
    return parse_foundry(FOUNDRY_TOML.replace("PORT", port), "demo foundry")
