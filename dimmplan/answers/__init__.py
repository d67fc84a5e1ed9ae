"""Sentences for the objects of ``why`` and ``mix`` and for a board's rules; none without such an object behind it."""
