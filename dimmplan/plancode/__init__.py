"""The plan code: a short text that carries a whole placement."""
