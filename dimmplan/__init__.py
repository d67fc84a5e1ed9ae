"""Memory population planner for servers, with a slot-map renderer."""

__version__ = "0.1.0"
