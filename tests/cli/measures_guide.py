"""The guide to the figures, from the one table of quantities, and how to renew it.

Renew it with ``python -m tests.cli.measures_guide``.
"""

from __future__ import annotations

from pathlib import Path

from pennyfall.cli.report.quantities import GROUPS, Group

GUIDE = Path(__file__).resolve().parents[2] / "kinematics" / "MEASURES.md"
HEAD = """\
# What each number means

All along the target line: **positive is toward the target**. `±` is the half-width of the 95 % interval; `–`
means it could not be measured, and a warning says why. The scale error is printed with the calibration. The
measurement file gives each value with its standard deviation in SI units, under the name at the right.

The words are those of `cli/report/quantities.toml`.
"""
COLUMNS = """\
| figure | in the table | unit | meaning | in the file |
| --- | --- | :-: | --- | --- |
"""


def guide() -> str:
    """Return the guide as it should be."""
    return "\n".join([HEAD, *map(_section, GROUPS)])


def _section(group: Group) -> str:
    rows = [
        f"| {each.label} | {each.in_group} | {each.unit} | {each.meaning} | `{each.name}` |\n"
        for each in group.quantities
    ]
    rows += [f"| {each.label} | {each.label} | | {each.meaning} | |\n" for each in group.terms]
    return f"## {group.title}\n\n{COLUMNS}{''.join(rows)}"


if __name__ == "__main__":
    GUIDE.write_text(guide(), encoding="utf-8")
