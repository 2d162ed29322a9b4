"""Sheets for the bench: what to gather, the steps and when, and the cautions."""

from meltwick.worksheet.page import sheet_html
from meltwick.worksheet.sheet import Sheet, work_sheet

__all__ = ["Sheet", "sheet_html", "work_sheet"]
