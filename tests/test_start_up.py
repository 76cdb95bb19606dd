"""Help comes at once: nothing heavy is imported before a command needs it."""

import subprocess
import sys

#: Shows the help of the program and of every command, then what that has imported.
HELP = """
import sys
before = set(sys.modules)
from analysis.cli import steadyfall
for words in [[], *([name] for name in steadyfall.commands)]:
    steadyfall.main([*words, "--help"], standalone_mode=False)
print("imported:", *sorted({name.split(".")[0] for name in set(sys.modules) - before}))
"""


def test_help_imports_nothing_but_click() -> None:
    """Half a second is enough for it on any machine; what takes longer is imports."""
    done = subprocess.run(  # noqa: S603 - this very interpreter
        [sys.executable, "-c", HELP], check=True, capture_output=True, text=True
    )
    helped, _, imported = done.stdout.rpartition("imported: ")
    assert helped.count("Usage: ") > 8
    ours = {"analysis", "click", "colorama"}  # the last on Windows
    assert set(imported.split()) - set(sys.stdlib_module_names) <= ours
    assert {"analysis", "click"} <= set(imported.split())
