"""The command line: read, call, write. One file for each command, no domain logic."""

DONE, NO, WRONG, STOPPED = 0, 1, 2, 130
"""Exit status: done, the answer is no, the call or an input is wrong, stopped by Ctrl-C."""
