"""Why a placement is as it is, and what would change: objects without wording, every figure computed.

``weigh`` sets an alternative beside a placement; ``slots`` gives each slot its reason, ``rate`` says what binds the
rate, ``expect`` judges the slots that somebody expected, ``grow`` says what comes next and what a change does,
``failed`` what is left after a module failed.
"""
