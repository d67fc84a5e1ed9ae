"""``python -m dimmplan``."""

from dimmplan.cli import main

main()
