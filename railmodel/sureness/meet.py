"""How two ends meet on many rails at once: `railmodel.fitting.joint` with the batch last. mm, radians."""

from collections.abc import Mapping

import numpy as np

from railmodel.fitting.fit_job import Joined
from railmodel.geometry.rows import Array
from railmodel.sureness.march import LaidOut, cross, dot
from railmodel.sureness.sensitivity import Bent, Measure


def meet(measure: Measure, bent: Mapping[str, Bent], laid: Mapping[str, LaidOut]) -> Array:
    """(6, b) gap, aside, up, tilt aside, tilt up and roll of a joint; see `Measure.what`.

    Args:
        measure: any number of the joint.
        bent: the job's bent parts.
        laid: those of the joint laid out.
    """
    joined = measure.about
    assert isinstance(joined, Joined)
    labels = [name.rpartition(".")[0] for name in joined.names]
    ends = [_end(bent[label], laid[label], end.end) for label, end in zip(labels, joined.joint.between, strict=True)]
    (at, t, u), (other_at, other_t, other_u) = ends
    s = cross(u, t)
    apart = other_at - at
    turn = np.arctan2(-dot(other_u, s), dot(other_u, u))
    return np.array([
        dot(apart, t), dot(apart, s), dot(apart, u), -dot(other_t, s), -dot(other_t, u),
        turn - np.pi * np.round(turn / np.pi),
    ])  # fmt: skip


def _end(bent: Bent, laid: LaidOut, end: str) -> tuple[Array, Array, Array]:
    """Place, outward direction and top face (3, b) at an end."""
    return (laid.back if end == bent.part.leading_end else laid.ahead).end
