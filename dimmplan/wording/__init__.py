"""Sentences: objects in, plain English out. Rules and errors word themselves; everything else is worded here."""
