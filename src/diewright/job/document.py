"""The page that lists every field of the job file, written from the schema: ``python -m diewright.job.document > docs/job-file.md``."""

from __future__ import annotations

import json
import sys
from typing import Any

from diewright.job.fields import fields

HEAD = """# The job file

A job is a folder; `job.toml` in it holds everything a person states. Every field has a default, so an empty file is a valid job. The book edits this
file and keeps its comments; each edit can be undone (`history/`). Results lie beside it in `results/` and can be deleted at any time.

"""


def page() -> str:
    """The page as Markdown."""
    out = [HEAD]
    last = ""
    for path, field in fields().items():
        table, _, name = path.partition(".")
        if table != last:
            out.append(
                f"{'' if not last else chr(10)}## [{table}]\n\n| field | unit | what it is | default | range |\n|---|---|---|---|---|\n"
            )
            last = table
        out.append(
            f"| `{name}` | {field['unit'] or '–'} | {field['text']} | `{json.dumps(field['default'], ensure_ascii=False)}` | {_range(field)} |\n"
        )
    out.append(
        "\n## [[accepted]]\n\nA finding that says attend, accepted: `finding` (its key), `reason`, `by`, and the `value` it had. "
        "The acceptance lapses when the value moves by more than 2 %.\n"
    )
    return "".join(out)


def _range(field: dict[str, Any]) -> str:
    if "choices" in field:
        return ", ".join(f"`{c}`" if c else "empty" for c in field["choices"])
    words = []
    if "minimum" in field:
        words.append(f"{field['minimum']:g} or more")
    if "exclusive_minimum" in field:
        words.append(f"more than {field['exclusive_minimum']:g}")
    if "maximum" in field:
        words.append(f"{field['maximum']:,.9g} or less")
    if "exclusive_maximum" in field:
        words.append(f"less than {field['exclusive_maximum']:g}")
    if str(field["kind"]).startswith("auto"):
        words.append("or `auto`")
    return ", ".join(words) or "–"


if __name__ == "__main__":
    sys.stdout.write(page())
