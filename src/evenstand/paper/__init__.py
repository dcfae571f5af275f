"""Paper and pocket: tagged PDFs by typst, and the pocket page for the field edge."""

from evenstand.desk.sheets import SheetContext
from evenstand.paper.pocket import pocket_page
from evenstand.paper.record import record_pdf
from evenstand.paper.sheets import KEYS, SHEETS, sheet_pdf, sheet_pictures, write_sheets

__all__ = ["KEYS", "SHEETS", "SheetContext", "pocket_page", "record_pdf", "sheet_pdf", "sheet_pictures", "write_sheets"]
