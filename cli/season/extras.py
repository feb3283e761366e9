"""What a season needs beyond a plain installation, asked for in words."""

from __future__ import annotations

from importlib.util import find_spec

from pennyfall.kinematics.errors import CannotMeasure


def needed(package: str, what: str) -> None:
    """Refuse where a package of the extra `cluster` is not installed.

    Raises
    ------
    CannotMeasure
        When it is not.

    """
    if find_spec(package) is None:
        raise CannotMeasure(
            f"{what} the package {package}, which is not installed.",
            fix="In pennyfall's own folder run: pip install '.[cluster]' (the name alone may be another's).",
        )
