"""The beliefs about a stroke as a page to read, from their one table.

Renew it with ``python -m tests.kinematics.beliefs_guide``.
"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

from pennyfall.kinematics.stroke.beliefs import TABLE, Belief

GUIDE = Path(__file__).resolve().parents[2] / "kinematics" / "BELIEFS.md"
HEAD = """\
# What is believed of a stroke before its clip is seen

Each question has answers with a probability beforehand; the frames of the clip then weigh them. A motion is
that of all answers by their weights, so that an interval covers what the clip does not tell. Numbers are sds
unless said, in SI units. The table itself is `kinematics/stroke/beliefs.py`: change it there.
"""


def guide() -> str:
    """Return the page as it should be."""
    return "\n".join([HEAD, *(_section(each) for each in TABLE)])


def _section(belief: Belief[Any]) -> str:
    said = [("Changes", belief.changes), ("Source", belief.source), ("What moved it", belief.evidence)]
    answers = "".join(f"- {100 * chance:g} %: {_words(answer)}\n" for chance, answer in belief.answers)
    return f"## {belief.question}\n\n{answers}" + "".join(f"\n{key}: {text}.\n" for key, text in said if text)


def _words(answer: object) -> str:
    if answer is None:
        return "no"
    if isinstance(answer, float):
        return f"{answer:g}"
    values = [(each.name, getattr(answer, each.name)) for each in fields(answer)]  # type: ignore[arg-type]
    return ", ".join(f"{name} {value}" for name, value in values if value) or "no"


if __name__ == "__main__":
    GUIDE.write_text(guide(), encoding="utf-8")
