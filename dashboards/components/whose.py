"""What is said where results by operator are shown to one of them."""

from __future__ import annotations

from dashboards import visitor
from dashboards.components.markup import element, show
from registry.people import operators


def own_results_only(by: str | None) -> None:
    """Say that the results of other operators are left out, where they are.

    Parameters
    ----------
    by
        What the page is split by.
    """
    actor = visitor.actor()
    if by != "operator" or actor is None or (whose := operators(actor)) is None:
        return
    left = f"Shown is {whose} only" if whose else "None is shown, as no operator code belongs to your account"
    text = f"{left}: results of an operator are for that operator and for the quality committee."
    show(element("p", text, class_="beside attention"))
