"""Nothing in the program is there only for its tests, or for nobody."""

from __future__ import annotations

from vulture import Vulture

from tests.conftest import CHECKOUT

# What is called by others than this program, by name.
CALLED_BY_OTHERS = [
    "__getattr__", "__dir__",  # Python: the package's face
    "_repr_html_",  # notebooks
    "plot", "import_log",  # whoever writes a notebook
    "list_commands", "get_command", "format_commands", "convert",  # click
    "to_python", "to_url",  # werkzeug's converters
    "redirect_request",  # urllib's handlers
    "judge_values",  # whoever judges plain arrays: benches of faulty readings
]  # fmt: skip
# Registered where they are defined.
REGISTERED = ["@*command*", "@group*", "@*callback*", "@migrations", "@app.*"]
# Seen from outside only, so that a test can wait for it: threads and processes at work.
WATCHED_BY_TESTS = ["busy", "supervisor"]


def test_no_function_is_unused() -> None:
    """A dead-code finder names no function, method, class or property that nothing uses."""
    finder = Vulture(ignore_names=CALLED_BY_OTHERS + WATCHED_BY_TESTS, ignore_decorators=REGISTERED)
    finder.scavenge([CHECKOUT / "firelog", CHECKOUT / "dashboards"])
    kinds = {"function", "method", "class", "property", "import"}
    found = [item for item in finder.get_unused_code() if item.typ in kinds]
    assert [f"{item.filename.name}: {item.name}" for item in found] == []
