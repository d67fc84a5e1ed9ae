"""A plan as one HTML file: the sheet, every slot's reason, the address range as a picture; nothing is loaded."""
