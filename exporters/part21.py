"""The text of STEP files: what the kernel wrote, with names, header, colours, numbering and validation properties.

The kernel encodes letters outside ASCII twice, stamps the time, counts occurrences for the whole life of the process
and writes colours in no fixed order. So it is given placeholders for names and no colours, and its text is finished
here. Encoding: ISO 10303-21; entities: ISO 10303-214 (AP214) and -242 (AP242); all from memory, proved by two readers
in the tests.
"""

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count, groupby
from typing import Literal

from railmodel.errors import InputError
from railmodel.geometry.figures import Figures
from railmodel.units import Unit, to_unit

Colour = tuple[float, float, float]
Protocol = Literal["AP214", "AP242"]

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


_UNITS = (
    "#{0}=DERIVED_UNIT((#{1}));",
    "#{1}=DERIVED_UNIT_ELEMENT({length},3.);",
    "#{2}=DERIVED_UNIT((#{3}));",
    "#{3}=DERIVED_UNIT_ELEMENT({length},2.);",
)
"""Units of volume and area."""

_PROOFS = (
    "#{0}=PROPERTY_DEFINITION('geometric validation property','volume',{shape});",
    "#{1}=PROPERTY_DEFINITION_REPRESENTATION(#{0},#{2});",
    "#{2}=REPRESENTATION('volume',(#{3}),{context});",
    "#{3}=MEASURE_REPRESENTATION_ITEM('volume measure',VOLUME_MEASURE({volume}),{cubic});",
    "#{4}=PROPERTY_DEFINITION('geometric validation property','surface area',{shape});",
    "#{5}=PROPERTY_DEFINITION_REPRESENTATION(#{4},#{6});",
    "#{6}=REPRESENTATION('surface area',(#{7}),{context});",
    "#{7}=MEASURE_REPRESENTATION_ITEM('surface area measure',AREA_MEASURE({area}),{square});",
    "#{8}=PROPERTY_DEFINITION('geometric validation property','centroid',{shape});",
    "#{9}=PROPERTY_DEFINITION_REPRESENTATION(#{8},#{10});",
    "#{10}=REPRESENTATION('centroid',(#{11}),{context});",
    "#{11}=CARTESIAN_POINT('centre point',({x},{y},{z}));",
)
"""The entities by which a reader can prove that it read a product as it was written.

Words and structure: the CAx Implementor Forum's recommended practices for geometric and assembly validation properties,
from memory. They hang on the product's shape (PRODUCT_DEFINITION_SHAPE): a reader looks for them there, and finds none
that hang on the PRODUCT_DEFINITION itself.
"""

_PROTOCOLS: dict[Protocol, tuple[str, str, int, str]] = {
    "AP214": (
        "AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }", "automotive_design", 2000,
        "core data for automotive mechanical design processes",
    ),
    "AP242": (
        "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF { 1 0 10303 442 1 1 4 }",
        "ap242_managed_model_based_3d_engineering", 2013, "managed model based 3d engineering",
    ),
}  # fmt: skip
"""What a file says of the standard it follows: schema, protocol, year and application. All else is the same."""

_LINKS = re.compile(
    r"(?m)^(#\d+)=(PRODUCT|PRODUCT_DEFINITION_FORMATION|PRODUCT_DEFINITION|PRODUCT_DEFINITION_SHAPE|"
    r"SHAPE_DEFINITION_REPRESENTATION|ADVANCED_BREP_SHAPE_REPRESENTATION|SHAPE_REPRESENTATION)\(([^;]*)\);"
)
"""The entities that lead from a product to its shape."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What is said of one product.

    Args:
        figures: its volume, area and centroid, mm.
        colour: sRGB from 0 to 1; None for an assembly.
    """

    figures: Figures
    colour: Colour | None = None


@dataclass(frozen=True, slots=True)
class _Product:
    """References to a product's shape, to its shape's context and to its solid (the last item of an assembly)."""

    shape: str
    context: str
    solid: str


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


def finished(
    text: str,
    *,
    names: Sequence[str],
    said: Mapping[int, Said],
    title: str,
    kernel: str,
    protocol: Protocol,
    unit: Unit,
) -> str:
    """The whole file from the kernel's text.

    Args:
        text: what the kernel wrote.
        names: the real name for each placeholder.
        said: what is said of the products, by the number of their placeholder.
        title: the file's own name.
        kernel: name and version of what wrote the text.
        protocol: the standard the file says it follows.
        unit: of the lengths in it.

    Raises:
        InputError: SOURCE_DATE_EPOCH is not a number.
    """
    occurrences = count(1)

    def occurrence(found: re.Match[str]) -> str:
        whole = re.sub(r"\n\s*", "", found[0])  # its line breaks hang on the process-wide number
        return re.sub(r"\('\d+'", f"('{next(occurrences)}'", whole, count=1)

    schema, name, year, application = _PROTOCOLS[protocol]
    body, end = text[text.index("DATA;") :].split("ENDSEC;\nEND-ISO", 1)
    body = body.replace(" = ", "=")  # nothing but numbering holds this while names are placeholders
    body = re.sub(r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\([^;]*;", occurrence, body)
    body = re.sub(r"(APPLICATION_PROTOCOL_DEFINITION\('[^']*',\s*)'[^']*',\d+", rf"\1'{name}',{year}", body, count=1)
    body = re.sub(r"(APPLICATION_CONTEXT\(\s*)'[^']*'", rf"\1'{application}'", body, count=1)
    more = "".join(f"{line}\n" for line in _said(body, said, unit))
    body = re.sub(f"'{_PLACEHOLDER}(\\d+)'", lambda found: quoted(names[int(found[1])]), body)
    head = f"{_header(title, unit, kernel)}FILE_SCHEMA(('{schema}'));\nENDSEC;\n"
    return f"{head}{body}{more}ENDSEC;\nEND-ISO{end}"


def _said(body: str, said: Mapping[int, Said], unit: Unit) -> Iterator[str]:
    """The lines that give the products their colours and validation properties."""
    products = _products(body)
    last = body[body.rindex("\n#") + 2 :]
    free = 1 + int(last[: last.index("=")])

    def lines(pattern: Sequence[str], **values: object) -> Iterator[str]:
        nonlocal free
        numbers = range(free, free + len(pattern))
        free += len(pattern)
        return (line.format(*numbers, **values) for line in pattern)

    if not said:
        return
    length = re.search(r"GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\s*\((#\d+),", body)
    assert length is not None
    cubic, square = f"#{free}", f"#{free + 2}"
    yield from lines(_UNITS, length=length[1])
    one = to_unit(1.0, unit)
    for number, product in sorted(products.items()):
        figures, colour = said[number].figures, said[number].colour
        if colour is not None:
            red, green, blue = colour
            yield from lines(_LOOKS, context=product.context, solid=product.solid, red=red, green=green, blue=blue)
        x, y, z = (_real(value * one) for value in figures.centroid)
        yield from lines(
            _PROOFS, shape=product.shape, context=product.context, cubic=cubic, square=square,
            volume=_real(figures.volume * one**3), area=_real(figures.area * one**2), x=x, y=y, z=z,
        )  # fmt: skip


def _products(body: str) -> dict[int, _Product]:
    """The products of a text by the number of their placeholder."""
    found: dict[str, dict[str, str]] = {}
    for ref, kind, inside in _LINKS.findall(body):
        found.setdefault(kind, {})[ref] = inside
    names = {ref: re.search(rf"'{_PLACEHOLDER}(\d+)'", inside) for ref, inside in found.get("PRODUCT", {}).items()}

    def first(kind: str, ref: str) -> str:
        return str(re.findall(r"#\d+", found[kind][ref])[0])

    products = {}
    for inside in found.get("SHAPE_DEFINITION_REPRESENTATION", {}).values():
        shape, drawn = re.findall(r"#\d+", inside)
        formation = first("PRODUCT_DEFINITION", first("PRODUCT_DEFINITION_SHAPE", shape))
        name = names[first("PRODUCT_DEFINITION_FORMATION", formation)]
        assert name is not None
        drawings = found["ADVANCED_BREP_SHAPE_REPRESENTATION"] | found.get("SHAPE_REPRESENTATION", {})
        *_, solid, context = re.findall(r"#\d+", drawings[drawn])
        products[int(name[1])] = _Product(shape, context, solid)
    return products


def _real(value: float) -> str:
    """A number as ISO 10303-21 writes it, to twelve digits; nothing smaller than a millionth of a millionth.

    >>> _real(25.0), _real(-1e-15), _real(1.5e14), _real(2e-7)
    ('25.', '0.', '1.5E+14', '2.E-07')
    """
    text = f"{round(value, 12) + 0.0:.12G}"
    return text if "." in text else text.replace("E", ".E") if "E" in text else f"{text}."


def _header(name: str, unit: Unit, kernel: str) -> str:
    """The file up to its schema, in our own words."""
    word = {"mm": "millimetres", "in": "inches"}[unit]
    about = f"vehicle axes in {word}: X rearward, Y to the right, Z up"
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
