"""Every error a user of the package can meet.

    RailmodelError
    ├── InputError      a file or an option that cannot be read or is not valid (exit status 2)
    └── GeometryError   values handed to a geometry function that make no shape (also a ValueError)

Shop problems (a bend with no room to grip, a rail that hits the axle) are not errors: they are findings
(`railmodel.findings`).
"""

from collections.abc import Sequence

Loc = tuple[str | int, ...]
"""Keys and indexes to a value in a file."""


class RailmodelError(Exception):
    """Root of the package's own errors."""


class GeometryError(RailmodelError, ValueError):
    """Values that make no section, centreline or solid; the message says which, how far off, and the remedy."""


class InputError(RailmodelError):
    """One or more problems with a file or option, each one clear sentence.

    Args:
        problems: the sentences, in the order they stand in the file.
        fields: of problems of values in a file, the keys and indexes to the value, and the sentence without its place.
    """

    def __init__(self, problems: str | Sequence[str], fields: Sequence[tuple[Loc, str]] = ()) -> None:
        self.problems: tuple[str, ...] = (problems,) if isinstance(problems, str) else tuple(problems)
        self.fields: tuple[tuple[Loc, str], ...] = tuple(fields)
        super().__init__("\n".join(self.problems))
