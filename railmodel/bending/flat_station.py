"""Where a place on the finished part lies on the flat tube, before anything is bent."""

from railmodel.bending.mark_out import MarkOut


def flat_station(marks: MarkOut, along: float) -> float:
    """Distance from the leading cut end of the stock, trim included, mm.

    On a straight it is exact; inside a bend the stock that the bend uses is taken as spread evenly over its arc.

    Args:
        marks: the part marked out.
        along: finished distance along the centreline from the part's leading end, mm.
    """
    rows, flat = marks.reading.line.rows, marks.trim_lead
    for marked, distance, angle, radius in zip(marks.bends, rows.distance, rows.angle, rows.radius, strict=True):
        if along <= distance:
            return flat + along
        along -= float(distance)
        arc = float(angle * radius)
        if along < arc:
            return marked.mark + marked.tube_use * along / arc
        along -= arc
        flat = marked.mark + marked.tube_use
    return flat + along
