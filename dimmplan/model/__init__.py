"""The plain frozen values that pass between stages."""
