"""What the desk page of the sheet tells, as text: figures and findings."""

from __future__ import annotations

from dimmplan.explain import share_sentence
from dimmplan.page.markup import Markup, element, listed_items, named_values, section, table
from dimmplan.sheet.desk import MODEL, SEVERITY_WORDS, SOCKET_HEADS, socket_note, socket_rows, total_items
from dimmplan.sheet.facts import Facts


def figures(facts: Facts) -> Markup:
    """The figures of the machine and of each socket."""
    its = facts.figures
    if its is None:
        said = "No figures: a fitted socket has no module that the board lists a rate for."
        return section("figures", "Figures", element("p", said))
    return section(
        "figures",
        "Figures",
        named_values(total_items(its)),
        element("p", f"{share_sentence(its)}."),
        table("Figures of each socket", SOCKET_HEADS, socket_rows(its), numbers=range(1, len(SOCKET_HEADS) - 1)),
        element("p", socket_note(facts.placement.mode)),
        element("p", MODEL),
    )


def findings(facts: Facts) -> Markup:
    """Every finding: how severe, what it says, its rule and source."""
    items = [
        element(
            "span",
            element("strong", f"{SEVERITY_WORDS[finding.severity]}: "),
            f"{finding.text} ",
            element("cite", f"[{finding.rule}, {finding.source}]"),
        )
        for finding in facts.findings
    ]
    return section("findings", "Findings", listed_items(items) if items else element("p", "None."))
