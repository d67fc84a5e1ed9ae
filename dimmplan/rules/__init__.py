"""Rules: one class for each kind, the table of all kinds, and the judging of a board's content by its rows.

The package gives what its modules define.
"""

from dimmplan.rules.base import *
from dimmplan.rules.channels import *
from dimmplan.rules.judge import *
from dimmplan.rules.modes import *
from dimmplan.rules.registry import *
from dimmplan.rules.sockets import *
from dimmplan.rules.tables import *
from dimmplan.rules.told import *
