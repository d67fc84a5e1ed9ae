"""Rules: one class for each kind, the table of all kinds, and the judging of a board's content by its rows."""

from dimmplan.rules.base import (
    Content,
    Fault,
    Load,
    Populations,
    Problems,
    Question,
    Reads,
    Rule,
    Scope,
    SocketView,
    SystemView,
    Wiring,
    known_names,
    of_kind,
    value_of,
)
from dimmplan.rules.channels import ChannelOrderRow, FillOrderRow, RankLimitRow, loads_of
from dimmplan.rules.defaults import as_once, default_rows, effective_rows
from dimmplan.rules.judge import (
    MODE_KINDS,
    RATE_RULE,
    SERVED_RULE,
    TRAY_RULE,
    Breach,
    all_rows,
    ceiling_row,
    fitted_default,
    judge,
    judge_alone,
    judge_channel,
    judge_controller,
    judge_module,
    judge_rate,
    judge_socket,
    judge_system,
    refusals,
    rows_of_scope,
)
from dimmplan.rules.modes import (
    LockstepRow,
    MirroringRow,
    ModeRow,
    PartialMirroringRow,
    SparingRow,
    can_be_groups,
    group_sizes,
    mirrors,
    mode_row,
    ranks_of,
    shown_gib,
    usable_gib,
)
from dimmplan.rules.modules import AcceptRow, MixRow
from dimmplan.rules.registry import KINDS, RuleRow, check_of, rules_of
from dimmplan.rules.sockets import CeilingRow, CountsRow, SequenceRow, SocketMinimumRow
from dimmplan.rules.system import AlikeRow, FittedRow
from dimmplan.rules.tables import TableRow, install_order
from dimmplan.rules.told import BlanksRow, DeviceCorrectionRow, NoteRow, ThermalLimitRow, ThermalRow
