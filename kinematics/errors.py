"""The one exception a person can put right."""

from __future__ import annotations


class CannotMeasure(Exception):  # noqa: N818 - reads as the sentence it raises
    """A problem with the clip, the sheet or an input file, with its remedy.

    Parameters
    ----------
    message : str
        What is wrong, in terms of the clip and the sheet, with the measured number.
    fix : str
        What the coach can do about it.
    setting : str
        Which setting or input the remedy is about, such as 'recorded_at'; whoever asked knows how it is
        given. Empty where it is about none.

    """

    def __init__(self, message: str, *, fix: str, setting: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.fix = fix
        self.setting = setting
