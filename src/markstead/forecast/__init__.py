"""What will happen: the rest of the year as a spread, when each workbook is needed, and what to order."""
