"""The steps of one part as the bend sheet lists them."""

from railmodel.bending.clearing import KeepOut
from railmodel.bending.orders import Order
from railmodel.bending.plan import PartPlan
from railmodel.bending.rehearse_job import chosen


def turn_words(plan: PartPlan, order: Order) -> str:
    """How the tube is loaded, or turned before a bend, and which way over where there is a choice."""
    if order.bend == 1:
        seam = f", weld seam {order.seam}" if order.seam else ""
        return f"load the tube: {order.face_on_die} face on the die, {order.face_up} face up{seam}"
    over = turn_over(plan, order.bend)
    return f"{order.turn} ({over}, where there is more room)" if over else order.turn


def turn_over(plan: PartPlan, bend: int) -> str | None:
    """Which way to turn the tube over before a bend, seen from the tail; None where it is not turned over."""
    if plan.rehearsal is None:
        return None
    steps = chosen(plan.rehearsal).steps
    return next((step.over for step in steps if step.kind == "turn" and step.bend == bend), None)


def sweep(plan: PartPlan) -> KeepOut | None:
    """The largest arc that the tube sweeps about the die axis; None where bending is not rehearsed."""
    if plan.rehearsal is None:
        return None
    areas = (step.keep_out for step in chosen(plan.rehearsal).steps)
    arcs = [area for area in areas if area is not None and area.kind == "arc"]
    return max(arcs, key=lambda arc: arc.radius, default=None)
