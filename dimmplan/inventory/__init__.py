"""Reads what a machine says of itself: one reader per form, each *detect then parse*, into one ``Inventory`` value."""
