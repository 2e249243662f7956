"""The text of STEP files: what the kernel wrote, with names, header, colours and numbering put right.

The kernel encodes letters outside ASCII twice, stamps the time, counts occurrences for the whole life of the process
and writes colours in no fixed order. So it is given placeholders for names and no colours, and its text is finished
here. Encoding: ISO 10303-21; entities: ISO 10303-214 (AP214); both from memory, proved by two readers in the tests.
"""

import os
import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from itertools import count, groupby

from railmodel.errors import InputError

Colour = tuple[float, float, float]

_PLACEHOLDER = "railmodel name "

_LOOKS = (
    "#{0}=MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION('',(#{1}),{context});",
    "#{1}=STYLED_ITEM('color',(#{2}),{solid});",
    "#{2}=PRESENTATION_STYLE_ASSIGNMENT((#{3}));",
    "#{3}=SURFACE_STYLE_USAGE(.BOTH.,#{4});",
    "#{4}=SURFACE_SIDE_STYLE('',(#{5}));",
    "#{5}=SURFACE_STYLE_FILL_AREA(#{6});",
    "#{6}=FILL_AREA_STYLE('',(#{7}));",
    "#{7}=FILL_AREA_STYLE_COLOUR('',#{8});",
    "#{8}=COLOUR_RGB('',{red:.3f},{green:.3f},{blue:.3f});",
)
"""The entities that give one solid its colour."""


def placeholder(index: int) -> str:
    """The ASCII name the kernel is given in place of the name with this index."""
    return f"{_PLACEHOLDER}{index}"


def quoted(text: str) -> str:
    r"""Any text as a quoted string of ISO 10303-21: ASCII as it is, the rest as \X2\ and \X4\ code points.

    >>> print(quoted("d'été"))
    'd''\X2\00E9\X0\t\X2\00E9\X0\'
    """

    def alphabet(letter: str) -> str:
        return "plain" if " " <= letter <= "~" else "X2" if ord(letter) < 0x10000 else "X4"

    pieces = []
    for kind, run in groupby(text, alphabet):
        if kind == "plain":
            pieces.append("".join(run).replace("\\", "\\\\").replace("'", "''"))
        else:
            digits = 4 if kind == "X2" else 8
            pieces.append(f"\\{kind}\\" + "".join(f"{ord(letter):0{digits}X}" for letter in run) + "\\X0\\")
    return "'" + "".join(pieces) + "'"


def finished(text: str, *, names: Sequence[str], colours: Sequence[Colour], about: str, kernel: str) -> str:
    """The whole file from the kernel's text.

    Args:
        text: what the kernel wrote.
        names: the real name for each placeholder; the last is the file's own.
        colours: sRGB from 0 to 1 for each solid, in the order of their names.
        about: one line that says what the numbers mean.
        kernel: name and version of what wrote the text.

    Raises:
        InputError: SOURCE_DATE_EPOCH is not a number.
    """
    occurrences = count(1)

    def occurrence(found: re.Match[str]) -> str:
        whole = re.sub(r"\n\s*", "", found[0])  # its line breaks hang on the process-wide number
        return re.sub(r"\('\d+'", f"('{next(occurrences)}'", whole, count=1)

    body, end = text[text.index("FILE_SCHEMA") :].split("ENDSEC;\nEND-ISO", 1)
    body = body.replace(" = ", "=")  # nothing but numbering holds this while names are placeholders
    body = re.sub(r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\([^;]*;", occurrence, body)
    looks = "".join(_looks(body, colours))
    body = re.sub(f"'{_PLACEHOLDER}(\\d+)'", lambda found: quoted(names[int(found[1])]), body)
    return f"{_header(names[-1], about, kernel)}{body}{looks}ENDSEC;\nEND-ISO{end}"


def _looks(body: str, colours: Sequence[Colour]) -> Iterator[str]:
    """The lines that colour each solid; products, their representations and solids stand in the same order."""
    products = [int(index) for index in re.findall(rf"=PRODUCT\(\s*'{_PLACEHOLDER}(\d+)'", body)]
    parts = [index for index in products if index < len(colours)]
    contexts = re.findall(r"=ADVANCED_BREP_SHAPE_REPRESENTATION\([^)]*\),\s*(#\d+)\);", body)
    solids = re.findall(r"(?m)^(#\d+)=MANIFOLD_SOLID_BREP\(", body)
    last = body[body.rindex("\n#") + 2 :]
    free = 1 + int(last[: last.index("=")])
    for part, context, solid in zip(parts, contexts, solids, strict=True):
        red, green, blue = colours[part]
        numbers = range(free, free + len(_LOOKS))
        for line in _LOOKS:
            yield line.format(*numbers, context=context, solid=solid, red=red, green=green, blue=blue) + "\n"
        free += len(_LOOKS)


def _header(name: str, about: str, kernel: str) -> str:
    """The file up to its schema, in our own words."""
    return (
        "ISO-10303-21;\nHEADER;\n"
        f"FILE_DESCRIPTION(({quoted(about)}),'2;1');\n"
        f"FILE_NAME({quoted(name)},'{_time()}',('railmodel'),('railmodel'),{quoted(kernel)},'railmodel','');\n"
    )


def _time() -> str:
    """The time for the header, in UTC: now, or what SOURCE_DATE_EPOCH says.

    Raises:
        InputError: SOURCE_DATE_EPOCH is not a number.
    """
    pinned = os.environ.get("SOURCE_DATE_EPOCH")
    try:
        when = datetime.now(UTC) if pinned is None else datetime.fromtimestamp(int(pinned), UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError(
            f"SOURCE_DATE_EPOCH is {pinned!r}: it must be whole seconds since 1970-01-01, such as 1700000000; "
            "set it so or leave it out"
        ) from None
    return when.strftime("%Y-%m-%dT%H:%M:%S+00:00")
