"""Set the tables of docs/speed.md from what the benchmarks measured.

Run it as ``python docs/make_speed.py FOLDER`` with the folder that
``tests/benchmarks/side_by_side.py`` wrote; what it measured is kept in docs/speed.json. Without a
folder the tables are set from that.
"""

from __future__ import annotations

import json
import runpy
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PAGE, DATA = HERE / "speed.md", HERE / "speed.json"
MAKER = runpy.run_path(str(HERE / "make_model.py"))


def told(value: Any) -> str:
    """Write a number to three places, and the rest as it is."""
    if isinstance(value, float):
        return f"{value:.3g}" if abs(value) < 1e3 else f"{value:,.0f}".replace(",", " ")
    if isinstance(value, int) and abs(value) >= 10_000:
        return f"{value:,}".replace(",", " ")
    return str(value)


def page(tables: dict[str, list[dict[str, Any]]]) -> str:
    """Return the page with all its tables as measured."""
    parts = {}
    for title, rows in tables.items():
        names = list(dict.fromkeys(name for row in rows for name in row))
        parts[title] = MAKER["table"](
            names, ([told(row.get(n, "")) for n in names] for row in rows)
        )
    text: str = MAKER["filled"](PAGE.read_text("utf-8"), parts)
    return text


def main() -> None:
    """Keep what was measured, and set the tables."""
    if len(sys.argv) > 1:
        found = json.loads((Path(sys.argv[1]) / "side-by-side.json").read_text("utf-8"))
        DATA.write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    PAGE.write_text(page(json.loads(DATA.read_text("utf-8"))), "utf-8")


if __name__ == "__main__":
    main()
