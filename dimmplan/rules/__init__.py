"""Rules: one class for each kind, the table of all kinds, and the judging of a board's content by its rows."""

from dimmplan.rules.base import (
    Content,
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
)
from dimmplan.rules.channels import AcceptRow, ChannelOrderRow, FillOrderRow, MixRow, RankLimitRow, loads_of
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
from dimmplan.rules.registry import KINDS, RuleRow, as_once, check_of, default_rows, effective_rows, rules_of
from dimmplan.rules.sockets import AlikeRow, CeilingRow, CountsRow, FittedRow, SequenceRow, SocketMinimumRow
from dimmplan.rules.tables import TableRow, install_order
from dimmplan.rules.told import BlanksRow, NoteRow, ThermalLimitRow
