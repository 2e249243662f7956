"""Storing the leading ends that the rehearsal recommends in the job file."""

from collections.abc import Iterator

from railmodel.bending.rehearse_job import better_end, chosen, rehearsals
from railmodel.frame import Frame
from railmodel.job.edit import write_changes


def store_leading_ends(frame: Frame) -> Iterator[str]:
    """Write the better leading end of every part into the job file, comments kept, and say what was done.

    A pair changes only when both hands agree; a part that works as written is not touched unless the other end
    leaves more room.

    Raises:
        InputError: the job file changed meanwhile, or cannot be written.
    """
    source = frame.source
    changes: dict[tuple[str | int, ...], str] = {}
    for i, part in enumerate(source.job.parts):
        own = [both for both in rehearsals(frame) if both.front.reading.part.name == part.name]
        end = better_end(own)
        if end is not None:
            changes["parts", i, "leading_end"] = end
            yield f"{part.name}: leading_end is now {end}; {own[0].why}"
        elif any(not chosen(both).ok for both in own):
            yield f"{part.name}: left as it is; " + "; ".join(both.why for both in own)
    if not changes:
        yield "no leading end to change"
        return
    write_changes(source.path, source.digest, changes, lambda _: None)  # an end's name cannot make a job invalid
